// The arrow's line and ends in pictures drawn here: a dark bar with a lit edge before two grounds.
#include <doctest/doctest.h>

#include <Eigen/Dense>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <random>

#include "nocktrail/side/path.hpp"
#include "nocktrail/side/sight.hpp"

namespace {

using namespace nocktrail;

constexpr int kWidth = 1280;
constexpr int kHeight = 400;
constexpr int kFrames = 30;
constexpr double kLength_px = 300.0;
constexpr double kStep_px = 90.0;  // a frame
constexpr double kLean = 0.03;     // of the shaft against its path

struct Film {
  std::vector<cv::Mat> luma;
  std::vector<double> t_s;
};

double middle_of(int frame) {
  return -700.0 + kStep_px * frame;
}

// The shaft is drawn eight times as large and averaged down: exact coverage to 1/64 of a pixel.
Film make_film(bool with_arrow) {
  std::mt19937 random(5);
  std::normal_distribution<float> noise(0.0F, 1.5F);
  Film film;
  for (int k = 0; k < kFrames; ++k) {
    constexpr int kFine = 8;
    const double middle = middle_of(k);
    cv::Mat picture(kHeight, kWidth, CV_32F, cv::Scalar(150));
    picture.colRange(700, kWidth) = 90;  // another ground
    if (with_arrow) {
      const int top = 170;
      cv::Mat fine;
      cv::resize(picture.rowRange(top, top + 60), fine, cv::Size(), kFine, kFine,
                 cv::INTER_NEAREST);
      const auto stroke = [&](double above, double thick, double colour) {
        std::vector<cv::Point> corners;
        for (const auto& [end, way] :
             {std::pair{-0.5, -0.5}, {0.5, -0.5}, {0.5, 0.5}, {-0.5, 0.5}}) {
          const double x = middle + end * kLength_px;
          const double y = 200.0 + kLean * (x - middle) + above + way * thick - top;
          corners.emplace_back(static_cast<int>(std::lround((x + 0.5) * kFine)),
                               static_cast<int>(std::lround((y + 0.5) * kFine)));
        }
        cv::fillConvexPoly(fine, corners, cv::Scalar(colour));
      };
      stroke(0.0, 4.0, 40.0);    // the shaft
      stroke(-1.3, 1.4, 200.0);  // lit from above
      cv::resize(fine, picture.rowRange(top, top + 60), cv::Size(kWidth, 60), 0, 0, cv::INTER_AREA);
    }
    for (int y = 0; y < kHeight; ++y) {
      for (int x = 0; x < kWidth; ++x) {
        picture.at<float>(y, x) += noise(random);
      }
    }
    cv::Mat byte;
    picture.convertTo(byte, CV_8U);
    film.luma.push_back(byte);
    film.t_s.push_back(k / 240.0);
  }
  return film;
}

side::Path true_path() {
  side::Path path;
  path.at_px = {0.0, 200.0};
  path.along = {1.0, 0.0};
  path.start_px = middle_of(0);
  path.rate_px_s = kStep_px * 240.0;
  path.cover_s = kLength_px / path.rate_px_s;
  path.frames = kFrames;
  return path;
}

}  // namespace

TEST_CASE("truth: centre line and ends of a lit shaft before two grounds") {
  const Film film = make_film(true);
  const side::Strip strip(film.luma, film.t_s, true_path(), 0.0, {});
  int seen = 0;
  int ends = 0;
  for (int k = 0; k < kFrames; ++k) {
    const double middle = middle_of(k);
    if (middle < 200.0 || middle > kWidth - 200.0) {
      continue;
    }
    // Expected 12 px off and a tenth too long.
    const auto sighting = strip.sight(static_cast<std::size_t>(k), middle + 12.0, 1.1 * kLength_px);
    CAPTURE(k);
    REQUIRE(sighting);
    ++seen;
    // What the fit takes from it is the shaft's slope: the outline's own doubt is 0.07 deg, and
    // here a lit edge that is brighter than one ground and darker than the other strains it. An
    // offset that is alike all along does no harm.
    Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
    Eigen::Vector2d right = Eigen::Vector2d::Zero();
    for (const track::CentrePoint& point : sighting->centre) {
      const double along = point.at_px.x() - middle;
      const Eigen::Vector2d row(1.0, along);
      normal += row * row.transpose();
      right += row * (point.at_px.y() - (200.0 + kLean * along));
    }
    const Eigen::Vector2d off = normal.inverse() * right;
    CHECK(std::abs(off[0]) < 0.7);
    CHECK(std::abs(off[1]) < 0.0025);  // 0.14 deg, two sigmas of that
    for (const bool tip : {false, true}) {
      const auto& end = tip ? sighting->tip : sighting->nock;
      if (end) {
        ++ends;
        CHECK(std::abs(end->at_px.x() - (middle + (tip ? 0.5 : -0.5) * kLength_px)) < 6.0);
      }
    }
  }
  CHECK(seen >= 8);
  CHECK(ends >= seen);  // one that lies where the grounds meet may not be told
}

TEST_CASE("fault: without an arrow nothing is sighted") {
  const Film film = make_film(false);
  const side::Strip strip(film.luma, film.t_s, true_path(), 0.0, {});
  for (std::size_t k = 10; k < 20; ++k) {
    CHECK_FALSE(strip.sight(k, middle_of(static_cast<int>(k)), kLength_px));
  }
}
