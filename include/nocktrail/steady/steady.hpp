// Takes the camera's motion out of a stretch of frames.
#pragma once

#include <Eigen/Core>
#include <functional>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

namespace nocktrail::steady {

struct SteadyOptions {
  int features = 320;      // corners followed, spread evenly over a grid
  int grid_cells = 16;     // cells along the longer side of that grid
  int patch_px = 17;       // side of the patch that is compared
  int pyramid_levels = 2;  // halvings for large motion
  double focal_px = 0.0;   // a rough focal length (10 % is enough): ties the perspective
                           // terms of a small rotation to its shift
  int min_features = 12;   // fewer agreeing corners than this: the frame counts as lost

  // Corners of mere noise that happen to lie within what the search lets through scatter by some
  // 0.6 px, and are few: scattered by more than this and fewer than this share, the frame is lost.
  double lost_residual_px = 0.5;
  double least_agreeing = 0.25;
  double scene_change = 0.45;  // share of corners that must vanish at once to call it a cut
};

// The camera's motion for one frame.
struct FrameMotion {
  Eigen::Matrix3d reference_from_frame = Eigen::Matrix3d::Identity();
  int agreeing = 0;              // corners that follow the background
  double residual_px = 0.0;      // their scatter about the fitted motion, one axis, 1 sigma
  double centre_sigma_px = 0.0;  // standard error of the motion at the picture's centre
  bool lost = false;             // no trustworthy motion: a cut, blackness, a blur
};

// A stretch of frames with the camera's motion known. luma[k] is CV_8UC1.
struct Steadied {
  std::size_t reference = 0;
  std::vector<FrameMotion> motion;
};

// Estimates the motion of every frame against luma[reference]. The background is taken to be what
// most of the picture does; the motion is a homography whose terms beyond a rotation (shear and
// stretch of a rolling shutter, a little zoom) are held small by a prior. Method: corners (Shi &
// Tomasi 1994) followed by pyramidal Lucas-Kanade, robust (Tukey) reweighted least squares.
Steadied estimate_motion(const std::vector<cv::Mat>& luma, std::size_t reference,
                         const SteadyOptions& options);

// The frame as the camera of the reference frame would have seen the background. Writes over
// `steadied`, which must not be shared with `luma`.
void to_reference(const cv::Mat& luma, const FrameMotion& motion, cv::Mat& steadied);

}  // namespace nocktrail::steady
