// What a picture file's header says of the camera and lens that took it: EXIF (CIPA DC-008), the
// standard optional attributes of OpenEXR, DPX's film and television headers.
#pragma once

#include "io/picture_source.h"
#include "io/plate_file.h"

namespace plateloom::io {

/// Fills the camera's fields of `file`; leaves alone whatever the header does not say, or says in a
/// way that can't be true (zero, negative, not finite).
void readCameraMetadata(const PictureSource& source, PlateFile& file);

}  // namespace plateloom::io
