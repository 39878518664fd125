// What changes in a picture, brightness and colour together. Private to the pipeline.
#pragma once

#include <opencv2/core.hpp>

#include "nocktrail/steady/steady.hpp"
#include "stretch.hpp"

namespace nocktrail::pipeline {

// In place of steadied luma: by how much brightness and warmth (V - U) of each pixel differ from
// what they are for most of the time, added up, so that a shaft stands out whichever way it
// differs. `still` is the luma that was there for most of the time. Takes the stretch's warmth.
void changes_in_colour(Stretch& stretch, const steady::Steadied& steadied, cv::Mat& still);

}  // namespace nocktrail::pipeline
