// The arrow learnt from smeared pictures of it, and found again in them. The pictures are drawn
// here, bar by bar and instant by instant, so that their truth owes nothing to the code under test.
#include <doctest/doctest.h>

#include <cmath>
#include <optional>
#include <vector>

#include "bar_picture.hpp"
#include "nocktrail/track/painted.hpp"

using namespace nocktrail;

namespace {

constexpr double kNoise = 2.0;
constexpr double kLongest_s = 0.004;  // exposure

struct Band {
  double from;
  double to;
  double grey;
};

struct Shot {
  track::Region region;
  std::vector<Eigen::Vector2d> nock_px;
  std::vector<Eigen::Vector2d> tip_px;
  std::vector<track::Expected> expected;  // off by a pixel or so
};

// An arrow that recedes: shorter and slower from frame to frame, flying straight up the picture
// while its shaft leans, so that the smear of an end is not along the shaft. Ground with stripes of
// 25 greys on its mean.
Shot film(const std::vector<Band>& bands, double exposure_s, double stripes, unsigned seed) {
  constexpr double kGround = 110.0;
  constexpr double kSoftness_px = 0.9;
  constexpr int kInstants = 24;
  test::Random random(seed);
  boost::random::uniform_real_distribution<double> share(-1.0, 1.0);
  const cv::Size size(150, 220);
  Shot shot;
  shot.region.roi = cv::Rect(cv::Point(0, 0), size);
  shot.region.background = cv::Mat(size, CV_32F);
  shot.region.sigma = cv::Mat(size, CV_32F, cv::Scalar(kNoise));
  for (int y = 0; y < size.height; ++y) {
    shot.region.background.row(y).setTo(kGround + stripes * std::sin(0.7 * y));
  }
  for (int frame = 0; frame < 16; ++frame) {
    const double length = 90.0 - 4.0 * frame;
    const Eigen::Vector2d nock(72 + 2 * share(random), 170 - 3 * frame + 2 * share(random));
    const Eigen::Vector2d tip = nock + Eigen::Vector2d(0.25, -1.0).normalized() * length;
    // Ends recede at 55 m/s; a shaft of 0.75 m measures `length`.
    const double per_s = 55.0 * length / 0.75;
    const Eigen::Vector2d nock_velocity(0.0, -1.1 * per_s);
    const Eigen::Vector2d tip_velocity(0.0, -0.9 * per_s);
    cv::Mat picture = cv::Mat::zeros(size, CV_32F);
    for (int i = 0; i < kInstants; ++i) {
      const double t = exposure_s * ((i + 0.5) / kInstants - 0.5);
      const Eigen::Vector2d from = nock + t * nock_velocity;
      const Eigen::Vector2d shaft = tip + t * tip_velocity - from;
      // The arrow and the ground that it hides.
      cv::Mat arrow = cv::Mat::zeros(size, CV_32F);
      cv::Mat hidden = cv::Mat::zeros(size, CV_32F);
      for (const Band& band : bands) {
        test::add_bar(arrow, from + band.from * shaft, from + band.to * shaft, 3.0, band.grey,
                      kSoftness_px);
      }
      test::add_bar(hidden, from + bands.front().from * shaft, from + bands.back().to * shaft, 3.0,
                    1.0, kSoftness_px);
      picture += (arrow - hidden.mul(shot.region.background)) / kInstants;
    }
    test::add_noise(picture, kNoise, random);
    shot.region.difference.push_back(picture);
    shot.nock_px.push_back(nock);
    shot.tip_px.push_back(tip);
    track::Expected expected;
    expected.nock_px = nock + Eigen::Vector2d(share(random), 1.5 * share(random));
    expected.tip_px = tip + Eigen::Vector2d(share(random), 1.5 * share(random));
    expected.nock_velocity_px_s = nock_velocity;
    expected.tip_velocity_px_s = tip_velocity;
    expected.width_px = 3.0;
    shot.expected.push_back(expected);
  }
  return shot;
}

std::vector<track::ShaftProfile> cut_open_all(const Shot& shot,
                                              const track::ShaftOptions& options) {
  std::vector<track::ShaftProfile> profiles;
  for (std::size_t frame = 0; frame < shot.expected.size(); ++frame) {
    if (auto profile = track::cut_open(shot.region, frame, 0.0, shot.expected[frame], options)) {
      profiles.push_back(std::move(*profile));
    }
  }
  REQUIRE(profiles.size() >= 14);
  return profiles;
}

struct Found {
  track::PaintedArrow arrow;
  double nock_bias_px = 0.0;  // along the shaft, toward the point, mean over the frames
  double tip_bias_px = 0.0;
  double nock_rms_px = 0.0;
  double tip_rms_px = 0.0;
  double across_px = 0.0;  // of the centre points
  int ends = 0;
};

Found find(const Shot& shot) {
  const track::ShaftOptions options;
  const std::vector<track::ShaftProfile> profiles = cut_open_all(shot, options);
  auto arrow = track::learn_painted(shot.region, profiles, 0.0, kLongest_s, options);
  REQUIRE(arrow.has_value());
  track::PaintedPlaces places;
  for (const track::ShaftProfile& profile : profiles) {
    places.push_back(track::place_painted(shot.region, profile, *arrow, options));
  }
  const track::PaintedArrow first = *arrow;
  arrow = track::learn_painted(shot.region, profiles, 0.0, kLongest_s, options, places, &first);
  REQUIRE(arrow.has_value());
  Found found;
  found.arrow = *arrow;
  int nocks = 0;
  int tips = 0;
  int points = 0;
  for (const track::ShaftProfile& profile : profiles) {
    const auto place = track::place_painted(shot.region, profile, *arrow, options);
    if (!place) {
      continue;
    }
    const track::ArrowSighting sighting = track::sight_painted(profile, *arrow, *place, options);
    const Eigen::Vector2d nock = shot.nock_px[profile.frame];
    const Eigen::Vector2d along = (shot.tip_px[profile.frame] - nock).normalized();
    if (sighting.nock) {
      const double off = (sighting.nock->at_px - nock).dot(along);
      found.nock_bias_px += off;
      found.nock_rms_px += off * off;
      ++nocks;
    }
    if (sighting.tip) {
      const double off = (sighting.tip->at_px - shot.tip_px[profile.frame]).dot(along);
      found.tip_bias_px += off;
      found.tip_rms_px += off * off;
      ++tips;
    }
    for (const track::CentrePoint& point : sighting.centre) {
      found.across_px += (point.at_px - nock).dot(Eigen::Vector2d(-along.y(), along.x()));
      ++points;
    }
  }
  REQUIRE(nocks > 0);
  REQUIRE(tips > 0);
  found.ends = nocks + tips;
  found.nock_bias_px /= nocks;
  found.tip_bias_px /= tips;
  found.nock_rms_px = std::sqrt(found.nock_rms_px / nocks);
  found.tip_rms_px = std::sqrt(found.tip_rms_px / tips);
  found.across_px /= points;
  return found;
}

}  // namespace

TEST_CASE("truth: exposure, ends and line of a smeared, banded arrow come back") {
  // A light nock and a light crest band on a dark shaft: along it the contrast changes sign twice.
  const std::vector<Band> bands{
      {0.0, 0.06, 200.0}, {0.06, 0.22, 50.0}, {0.22, 0.30, 190.0}, {0.30, 1.0, 50.0}};
  const track::ShaftOptions options;
  for (const double exposure_s : {0.0003, 0.001, 0.002}) {
    CAPTURE(exposure_s);
    const Found found = find(film(bands, exposure_s, 12.0, 31));
    // The tries lie a factor of 1.5 apart; what is shorter than a pixel's smear cannot be told.
    CHECK(found.arrow.exposure_s < 1.5 * exposure_s + 0.0003);
    CHECK(found.arrow.exposure_s > exposure_s / 1.5 - 0.0002);
    CHECK(found.ends >= 28);  // of 32
    CHECK(std::abs(found.nock_bias_px) < options.painted_floor_px);
    CHECK(std::abs(found.tip_bias_px) < options.painted_floor_px);
    CHECK(found.nock_rms_px < 1.3 * options.painted_floor_px);
    CHECK(found.tip_rms_px < 1.3 * options.painted_floor_px);
    CHECK(std::abs(found.across_px) < options.centre_floor_px);
  }
}

TEST_CASE("truth: a nock of the ground's own mean grey still ends where it ends") {
  // Only the stripes that it hides tell of it.
  const std::vector<Band> bands{{0.0, 0.06, 110.0}, {0.06, 1.0, 50.0}};
  const Found found = find(film(bands, 0.0006, 25.0, 32));
  // Left out, the nock would put the end 0.06 of 30 to 90 px, 3.6 in the mean, too far forward.
  CHECK(std::abs(found.nock_bias_px) < 1.2);
}

TEST_CASE("truth: of a front of the ground's own grey it is said that its end is not known") {
  // Only nock and vanes stand out; the shaft before them and its point could end anywhere.
  const std::vector<Band> bands{{0.0, 0.06, 200.0}, {0.06, 0.35, 50.0}, {0.35, 1.0, 110.0}};
  const Shot shot = film(bands, 0.0006, 0.0, 38);
  const track::ShaftOptions options;
  const auto arrow =
      track::learn_painted(shot.region, cut_open_all(shot, options), 0.0, kLongest_s, options);
  REQUIRE(arrow.has_value());
  // Ends are looked for from 0.88 to 1.10 of the length; anywhere in it is 0.06 (uniform).
  CHECK(arrow->end_sigma > 0.04);
  CHECK(std::abs(arrow->end - 1.0) < 2.0 * arrow->end_sigma);
  CHECK(arrow->begin_sigma < 0.02);
}

TEST_CASE("truth: an arrow taken for much longer than it is finds its point, round by round") {
  // The point lies 0.85 of the way to where it is first expected: further in than a single round
  // looks for an end.
  constexpr double kTooLong = 1.18;
  const std::vector<Band> bands{
      {0.0, 0.06, 200.0}, {0.06, 0.22, 50.0}, {0.22, 0.30, 190.0}, {0.30, 1.0, 50.0}};
  Shot shot = film(bands, 0.0006, 12.0, 34);
  for (track::Expected& expected : shot.expected) {
    expected.tip_px = expected.nock_px + kTooLong * (expected.tip_px - expected.nock_px);
    expected.search_along_px = 16.0;
  }
  const track::ShaftOptions options;
  std::optional<track::PaintedArrow> arrow;
  double bias_px = 0.0;
  for (int round = 0; round < 4; ++round) {
    const std::vector<track::ShaftProfile> profiles = cut_open_all(shot, options);
    if (!arrow) {
      arrow = track::learn_painted(shot.region, profiles, 0.0, kLongest_s, options);
      REQUIRE(arrow.has_value());
    }
    const track::PaintedArrow before = track::stretched_to_ends(*arrow);
    track::PaintedPlaces places;
    for (const track::ShaftProfile& profile : profiles) {
      places.push_back(track::place_painted(shot.region, profile, before, options));
    }
    arrow = track::learn_painted(shot.region, profiles, 0.0, kLongest_s, options, places, &before);
    REQUIRE(arrow.has_value());
    bias_px = 0.0;
    int tips = 0;
    for (std::size_t k = 0; k < profiles.size(); ++k) {
      if (!places[k]) {
        continue;
      }
      const track::ArrowSighting sighting =
          track::sight_painted(profiles[k], *arrow, *places[k], options);
      if (sighting.tip) {
        const std::size_t frame = profiles[k].frame;
        const Eigen::Vector2d along = (shot.tip_px[frame] - shot.nock_px[frame]).normalized();
        bias_px += (sighting.tip->at_px - shot.tip_px[frame]).dot(along);
        ++tips;
        shot.expected[frame].tip_px = sighting.tip->at_px;  // as a flight fitted to it would
      }
    }
    REQUIRE(tips >= 12);
    bias_px /= tips;
  }
  CHECK(std::abs(bias_px) < options.painted_floor_px);
}

TEST_CASE(
    "truth: where a limb hides the rear of the shaft its outline is not trusted as the nock") {
  const std::vector<Band> bands{{0.0, 0.06, 200.0}, {0.06, 1.0, 50.0}};
  Shot shot = film(bands, 0.0006, 0.0, 35);
  // Nocks lie near x 72 and rise from y 170 by 3 a frame; points lie right of x 79.
  constexpr int kLimbRight = 77;
  constexpr int kLimbTop = 152;
  test::Random random(36);
  for (cv::Mat& picture : shot.region.difference) {
    cv::Mat limb = cv::Mat::zeros(picture.rows - kLimbTop, kLimbRight, CV_32F);
    test::add_noise(limb, kNoise, random);
    limb.copyTo(picture(cv::Rect(0, kLimbTop, kLimbRight, picture.rows - kLimbTop)));
  }
  shot.region.background(cv::Rect(0, kLimbTop, kLimbRight, shot.region.background.rows - kLimbTop))
      .setTo(80.0);
  for (track::Expected& expected : shot.expected) {
    expected.search_along_px = 16.0;
  }
  const track::ShaftOptions options;
  const std::vector<track::ShaftProfile> profiles = cut_open_all(shot, options);
  const auto arrow = track::learn_painted(shot.region, profiles, 0.0, kLongest_s, options);
  REQUIRE(arrow.has_value());
  int hidden = 0;
  int clear = 0;
  int tips = 0;
  for (const track::ShaftProfile& profile : profiles) {
    const auto place = track::place_painted(shot.region, profile, *arrow, options);
    if (!place) {
      continue;
    }
    const track::ArrowSighting sighting = track::sight_painted(profile, *arrow, *place, options);
    const Eigen::Vector2d nock = shot.nock_px[profile.frame];
    CAPTURE(profile.frame);
    if (nock.y() > kLimbTop + 2) {
      CHECK((!sighting.nock || sighting.nock->may_be_hidden));
      ++hidden;
    } else if (sighting.nock && nock.y() < kLimbTop - 12) {
      CHECK((sighting.nock->at_px - nock).norm() < 3.0);
      ++clear;
    }
    tips += sighting.tip.has_value() ? 1 : 0;
  }
  CHECK(hidden >= 4);
  CHECK(clear >= 4);
  CHECK(tips >= 12);
}

TEST_CASE("truth: rims of the ground's own grey are taken off an arrow learnt too long") {
  const std::vector<Band> bands{{0.0, 1.0, 50.0}};
  const Shot shot = film(bands, 0.0006, 3.0, 37);
  const track::ShaftOptions options;
  const std::vector<track::ShaftProfile> profiles = cut_open_all(shot, options);
  // As a round leaves it whose chords were drawn out: a tenth more at the nock, a twentieth at the
  // point, of the grey that lies behind.
  constexpr double kGround = 110.0;
  constexpr double kRear = 0.10;
  constexpr double kFront = 0.05;
  constexpr double kLong = 1.0 + kRear + kFront;
  track::PaintedArrow arrow;
  arrow.step = 0.01;
  for (double share = 0.005; share < 1.0; share += arrow.step) {
    const bool rim = share * kLong < kRear || share * kLong > 1.0 + kRear;
    arrow.grey.push_back(rim ? kGround : 50.0);
  }
  const auto places_of = [&] {
    track::PaintedPlaces places;
    for (const track::ShaftProfile& profile : profiles) {
      const std::size_t frame = profile.frame;
      const Eigen::Vector2d chord = shot.tip_px[frame] - shot.nock_px[frame];
      const auto along_px = [&](double share) {
        return (shot.nock_px[frame] + share * chord - profile.expected.nock_px).dot(profile.along);
      };
      track::PaintedPlace place;
      place.off << along_px(-kRear), along_px(1.0 + kFront) - profile.length_px(), 0.0, 0.0;
      places.emplace_back(place);
    }
    return places;
  };
  const track::PaintedPlaces places = places_of();
  const auto shorter = track::without_unseen_rims(arrow, profiles, places);
  REQUIRE(shorter.has_value());
  for (std::size_t k = 0; k < profiles.size(); ++k) {
    CAPTURE(k);
    REQUIRE(shorter->places[k].has_value());
    const std::size_t frame = profiles[k].frame;
    const Eigen::Vector2d expected_nock = profiles[k].expected.nock_px;
    const double nock_px = (shot.nock_px[frame] - expected_nock).dot(profiles[k].along);
    const double tip_px = (shot.tip_px[frame] - expected_nock).dot(profiles[k].along);
    const Eigen::Vector4d& off = shorter->places[k]->off;
    // One value of the paint is 1 px of the longest chord.
    CHECK(std::abs(off[track::PaintedPlace::kNockAlong] - nock_px) < 1.1);
    CHECK(std::abs(off[track::PaintedPlace::kTipAlong] + profiles[k].length_px() - tip_px) < 1.1);
  }

  SUBCASE("but not where they are seen") {
    for (double& grey : arrow.grey) {
      grey = std::min(grey, kGround - 45.0);
    }
    CHECK_FALSE(track::without_unseen_rims(arrow, profiles, places).has_value());
  }
}

TEST_CASE("truth: an arrow too short in all but a few frames teaches nothing") {
  const Shot shot = film({{0.0, 1.0, 50.0}}, 0.0005, 0.0, 33);
  const track::ShaftOptions options;
  std::vector<track::ShaftProfile> profiles;
  for (std::size_t frame = 0; frame < 3; ++frame) {
    auto profile = track::cut_open(shot.region, frame, 0.0, shot.expected[frame], options);
    REQUIRE(profile.has_value());
    profiles.push_back(std::move(*profile));
  }
  CHECK_FALSE(track::learn_painted(shot.region, profiles, 0.0, kLongest_s, options).has_value());
}
