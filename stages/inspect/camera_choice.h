// Which camera model a frame gets, in this order: explicit focal length, OpenCV calibration file, lens
// database by Exif body and lens, Exif focal plane, Exif 35 mm equivalent, a stated assumption. Each choice
// says where it came from.
#pragma once

#include <optional>

#include "pipeline/geometry/camera.h"
#include "pipeline/record/flight_record.h"
#include "stages/inspect/exif.h"
#include "stages/inspect/inspect.h"

namespace lookdown::inspect {

/// Reads camera_matrix, distortion_coefficients, image_width, image_height of an OpenCV calibration file
/// (YAML, XML or JSON); with fisheye_model 1 the four coefficients are those of cv::fisheye. Throws
/// std::runtime_error that names the file and what is wrong.
Camera read_calibration(const std::string& file);

/// Size that the whole picture would have at the frame's pixel size: Exif's size of the picture as shot,
/// turned when an editor has turned the pixels, scaled when it has resized them. A frame of another shape was
/// cropped; its pixels are then taken as not resized when it fits into the picture as shot, which is all that
/// can be known.
struct WholePicture {
  double width_px = 0, height_px = 0;
  bool is_cropped = false;
};
WholePicture whole_picture(const ExifTags&, int width_px, int height_px);

/// Camera for a frame of width_px x height_px as stored. A calibration of another size is scaled when the
/// aspect agrees and skipped otherwise.
Camera choose_camera(const ExifTags&, int width_px, int height_px, const std::optional<Camera>& calibration,
                     const Options&);

/// Text that is equal for frames that share one camera: body, lens, focal length, size.
std::string camera_id(const FrameInfo&, int width_px, int height_px);

}  // namespace lookdown::inspect
