# Makes one C++ string of a page's template: its index.html with every part put in its place, but for
# what the program itself fills in ({survey}, {pictures}, {plain}...).
#   cmake -DPAGE=folder -DFROM_ELSEWHERE=three.min.js,... -DNAME=kPageTemplate -DOUTPUT=file.cpp
#         -P assemble.cmake
file(READ ${PAGE}/index.html page)
file(GLOB parts ${PAGE}/*.js ${PAGE}/*.css ${PAGE}/*.txt)
string(REPLACE "," ";" from_elsewhere "${FROM_ELSEWHERE}")
list(APPEND parts ${from_elsewhere})
foreach(part ${parts})
  get_filename_component(name ${part} NAME)
  file(READ ${part} text)
  string(FIND "${text}" "</script" ends_script)
  string(FIND "${text}" ")page\"" ends_string)
  if(NOT ends_script EQUAL -1 OR NOT ends_string EQUAL -1)
    message(FATAL_ERROR "${part}: holds </script or )page\", which would end the page's script")
  endif()
  string(FIND "${page}" "<!--{${name}}-->" place)
  if(place EQUAL -1)
    message(FATAL_ERROR "${PAGE}/index.html: has no place for ${name}")
  endif()
  string(REPLACE "<!--{${name}}-->" "${text}" page "${page}")
endforeach()
file(WRITE ${OUTPUT} "#include \"io/page_template.h\"

namespace plateloom::io {

const std::string_view ${NAME} = R\"page(${page})page\";

}  // namespace plateloom::io
")
