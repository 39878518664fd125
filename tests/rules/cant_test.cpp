#include "nocktrail/rules/cant.hpp"

#include <doctest/doctest.h>

#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <cmath>
#include <numbers>

#include "nocktrail/rules/before_change.hpp"

using namespace nocktrail;
using namespace nocktrail::rules;

namespace {

constexpr double kSigmasPerU95 = 1.959964;

struct Spread {
  double lat = 0.0;
  double vert = 0.0;
  double cross = 0.0;
};

// Root mean squares about `about`, by drawing (JCGM 101:2008, Monte Carlo): the contract's formula
// of docs/measurement.md inverted for each draw.
Spread drawn(const Measured& right, const Measured& high, double r, const Measured& cant,
             const BowFrameReading& about) {
  boost::random::mt19937_64 generator(20261128);
  boost::random::normal_distribution<double> normal;
  constexpr int kDraws = 400000;
  Spread sum;
  for (int i = 0; i < kDraws; ++i) {
    const double a = normal(generator);
    const double b = r * a + std::sqrt(1.0 - r * r) * normal(generator);
    const double x = right.value + right.u95 / kSigmasPerU95 * a;
    const double y = high.value + high.u95 / kSigmasPerU95 * b;
    const double c =
        (cant.value + cant.u95 / kSigmasPerU95 * normal(generator)) * std::numbers::pi / 180.0;
    const double lat = x * std::cos(c) - y * std::sin(c) - about.lat_deg.value;
    const double vert = x * std::sin(c) + y * std::cos(c) - about.vert_deg.value;
    sum.lat += lat * lat / kDraws;
    sum.vert += vert * vert / kDraws;
    sum.cross += lat * vert / kDraws;
  }
  return sum;
}

}  // namespace

TEST_CASE("reference: an uncertain cant spreads a reading as drawing says") {
  struct Row {
    Measured right;
    Measured high;
    double r;
    Measured cant;
  };
  const Row rows[] = {{{-3.0, 0.2}, {0.8, 0.9}, 0.4, {15.0, 5.9}},
                      {{-3.0, 0.2}, {0.8, 0.9}, -0.3, {10.0, 19.6}},
                      {{2.0, 0.3}, {-1.5, 0.7}, 0.0, {-10.0, 19.6}},
                      {{-4.0, 0.2}, {0.0, 0.5}, 0.5, {0.0, 29.4}},
                      {{0.0, 0.2}, {0.0, 0.5}, 0.0, {0.0, 29.4}}};
  for (const Row& row : rows) {
    const BowFrameReading bow = bow_frame_from_range(row.right, row.high, row.r, row.cant);
    const BowFrameReading exact = bow_frame_from_range(row.right, row.high, row.r, row.cant.value);
    CHECK(bow.lat_deg.value == doctest::Approx(exact.lat_deg.value));
    CHECK(bow.vert_deg.value == doctest::Approx(exact.vert_deg.value));
    const Spread spread = drawn(row.right, row.high, row.r, row.cant, bow);
    // 400,000 draws tell a standard deviation to 0.1 %; kurtosis makes that 0.5 %.
    CHECK(bow.lat_deg.u95 == doctest::Approx(kSigmasPerU95 * std::sqrt(spread.lat)).epsilon(0.01));
    CHECK(bow.vert_deg.u95 ==
          doctest::Approx(kSigmasPerU95 * std::sqrt(spread.vert)).epsilon(0.01));
    CHECK(bow.correlation == doctest::Approx(spread.cross / std::sqrt(spread.lat * spread.vert))
                                 .epsilon(0.02)
                                 .scale(1.0));
  }
}

TEST_CASE("unit: a cant that is exact spreads nothing") {
  const BowFrameReading exact = bow_frame_from_range({-3.0, 0.3}, {0.8, 0.9}, 0.4, 15.0);
  const BowFrameReading same =
      bow_frame_from_range({-3.0, 0.3}, {0.8, 0.9}, 0.4, Measured{15.0, 0.0});
  CHECK(same.lat_deg.u95 == doctest::Approx(exact.lat_deg.u95));
  CHECK(same.vert_deg.u95 == doctest::Approx(exact.vert_deg.u95));
  CHECK(same.correlation == doctest::Approx(exact.correlation));
}

TEST_CASE("unit: an untold cant leans with the hand, wide, and mirrors with it") {
  const Bow right = bow_as_known(Hand::right, std::nullopt, std::nullopt);
  const Bow left = bow_as_known(Hand::left, std::nullopt, std::nullopt);
  const Bow unknown = bow_as_known(Hand::unknown, std::nullopt, std::nullopt);
  CHECK(right.source == BowSource::assumed);
  CHECK(right.cant_deg.value > 0.0);
  CHECK(left.cant_deg.value == -right.cant_deg.value);
  CHECK(left.cant_deg.u95 == right.cant_deg.u95);
  CHECK(unknown.cant_deg.value == 0.0);
  // An upright bow, and one at 25 deg, lie inside what is assumed for either hand.
  CHECK(right.cant_deg.value - right.cant_deg.u95 < 0.0);
  CHECK(right.cant_deg.value + right.cant_deg.u95 > 25.0);
  CHECK(unknown.cant_deg.u95 > 25.0);
  const Bow told = bow_as_known(Hand::right, 15.0, std::nullopt);
  CHECK(told.source == BowSource::told);
  CHECK(told.cant_deg.u95 == doctest::Approx(1.959964 * 3.0));  // by eye, 3 deg one sigma
}

TEST_CASE("unit: the cant decides where its interval crosses an edge of the dead band") {
  const Bow assumed = bow_as_known(Hand::right, std::nullopt, std::nullopt);
  CHECK(hangs_on_cant(-4.0, 1.0, assumed, 0.5));
  CHECK_FALSE(hangs_on_cant(0.0, 0.0, assumed, 0.5));
  CHECK_FALSE(hangs_on_cant(-0.5, 4.0, assumed, 0.5));  // high under every cant
  CHECK_FALSE(hangs_on_cant(-4.0, 1.0, bow_as_known(Hand::right, 15.0, std::nullopt), 0.5));
}
