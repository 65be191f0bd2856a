# The library's public headers: a copy of each below include/plateloom/, in which they name each other by the path that
# they are installed under.
#   cmake -DSOURCE=DIR -DOUTPUT=DIR -DHEADERS=a.h,b.h -P headers.cmake
string(REPLACE "," ";" headers "${HEADERS}")
foreach(header ${headers})
  file(READ ${SOURCE}/${header} text)
  string(REGEX REPLACE "#include \"(calib|io|stitch)/" "#include \"plateloom/\\1/" text "${text}")
  set(old "")
  if(EXISTS ${OUTPUT}/plateloom/${header})
    file(READ ${OUTPUT}/plateloom/${header} old)
  endif()
  if(NOT text STREQUAL old) # so that what includes it is not compiled again for nothing
    file(WRITE ${OUTPUT}/plateloom/${header} "${text}")
  endif()
endforeach()
