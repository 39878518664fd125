#include "nocktrail/tune/statistics.hpp"

#include <doctest/doctest.h>

#include <array>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_real_distribution.hpp>
#include <cmath>
#include <vector>

using namespace nocktrail::tune;
using doctest::Approx;

// Standard tables of Student's distribution, 95 % two-sided (trade facts, section 6; from memory).
TEST_CASE("reference: Student's factors") {
  CHECK(student_factor(2.0) == Approx(4.303).epsilon(1e-3));
  CHECK(student_factor(4.0) == Approx(2.776).epsilon(1e-3));
  CHECK(student_factor(5.0) == Approx(2.571).epsilon(1e-3));
  CHECK(student_factor(9.0) == Approx(2.262).epsilon(1e-3));
  // JCGM 100:2008, table G.2 (from memory).
  CHECK(student_factor(1.0) == Approx(12.71).epsilon(1e-3));
  CHECK(student_factor(kKnown) == Approx(1.960).epsilon(1e-3));
  CHECK(student_factor(4.0, 0.99) == Approx(4.60).epsilon(2e-3));
}

// JCGM 100:2008, example H.1 (end-gauge calibration): the four contributions in nanometres. The
// Guide rounds u_c to 32 before it finds 17.5; without that the formula gives 16.8.
TEST_CASE("reference: the Guide's end gauge, combined uncertainty and effective freedom") {
  const std::array<Contribution, 4> parts{Contribution{25.0, 18.0}, Contribution{9.7, 25.6},
                                          Contribution{2.9, 50.0}, Contribution{16.6, 2.0}};
  const Contribution both = combined(parts);
  CHECK(both.u == Approx(31.67).epsilon(1e-3));
  CHECK(both.freedom == Approx(16.8).epsilon(5e-3));
}

TEST_CASE("unit: contributions that are all known have no end of freedom") {
  const std::array<Contribution, 2> parts{Contribution{3.0, kKnown}, Contribution{4.0, kKnown}};
  CHECK(combined(parts).u == Approx(5.0));
  CHECK(std::isinf(combined(parts).freedom));
}

// Thirteen trials of the BCG vaccine (Colditz et al., JAMA 271 (1994) 698-702): log risk ratios
// and variances from the published counts, widely used as a worked example of random effects.
// Paule and Mandel's estimate for them is 0.318 (from memory of textbook tables, where DerSimonian
// and Laird's is 0.309); also recomputed by bisection in another language.
TEST_CASE("reference: Paule and Mandel on a published set of trials") {
  struct Trial {
    double ill, well, ill_control, well_control;
  };
  const std::array<Trial, 13> trials{{{4, 119, 11, 128},
                                      {6, 300, 29, 274},
                                      {3, 228, 11, 209},
                                      {62, 13536, 248, 12619},
                                      {33, 5036, 47, 5761},
                                      {180, 1361, 372, 1079},
                                      {8, 2537, 10, 619},
                                      {505, 87886, 499, 87892},
                                      {29, 7470, 45, 7232},
                                      {17, 1699, 65, 1600},
                                      {186, 50448, 141, 27197},
                                      {5, 2493, 3, 2338},
                                      {27, 16886, 29, 17825}}};
  std::vector<double> values;
  std::vector<double> u;
  for (const Trial& t : trials) {
    const double n = t.ill + t.well;
    const double control = t.ill_control + t.well_control;
    values.push_back(std::log(t.ill / n / (t.ill_control / control)));
    u.push_back(std::sqrt(1.0 / t.ill - 1.0 / n + 1.0 / t.ill_control - 1.0 / control));
  }
  CHECK(paule_mandel(values, u) == Approx(0.3181).epsilon(1e-3));
}

// Equal measurement uncertainty: the definition is solved by hand, s^2 - u^2.
TEST_CASE("reference: Paule and Mandel with equal uncertainties") {
  const std::vector<double> values{1.0, 2.0, 4.0, 5.0};  // s^2 = 10/3
  CHECK(paule_mandel(values, std::vector<double>(4, 0.5)) == Approx(10.0 / 3.0 - 0.25));
  CHECK(paule_mandel(values, std::vector<double>(4, 3.0)) == 0.0);
}

// Trade facts, section 6: n = 5, s = 0.8 deg gives +-0.993 deg.
TEST_CASE("reference: five exact shots that scatter by 0.8 deg") {
  const std::vector<double> values{-0.8, -0.8, 0.0, 0.8, 0.8};
  const RobustMean mean = robust_mean(values, std::vector<double>(5, 0.0), {});
  CHECK(mean.mean == Approx(0.0));
  CHECK(mean.scatter == Approx(0.8));
  CHECK(mean.freedom == Approx(4.0));
  CHECK(mean.u95() == Approx(0.993).epsilon(1e-3));
}

TEST_CASE("unit: one wild shot is named, moves the mean little, and is not removed") {
  const std::vector<double> values{1.0, 1.2, 0.8, 1.1, 0.9, 7.0};
  const RobustMean mean = robust_mean(values, std::vector<double>(6, 0.1), {0.6, 2.0});
  CHECK(std::abs(mean.distance[5]) > kOutlierDistance);
  CHECK(mean.weights[5] > 0.0);
  CHECK(mean.weights[5] < 0.6);
  CHECK(mean.mean < 2.0);  // the plain mean
  CHECK(mean.mean > 1.0);
  for (std::size_t i = 0; i < 5; ++i) {
    CHECK(mean.weights[i] == 1.0);
  }
}

TEST_CASE("unit: nothing in, nothing known out") {
  const RobustMean none = robust_mean({}, {}, {0.6, 2.0});
  CHECK(none.freedom == 0.0);
  CHECK(none.weights.empty());
  const std::vector<double> one{2.0};
  const RobustMean single = robust_mean(one, std::vector<double>{0.1}, {0.6, 2.0});
  CHECK(single.mean == 2.0);
  CHECK(single.u95() > 2.0 * 0.6);  // one shot says nothing of the scatter
}

// n with t(n - 1) s / sqrt(n) <= margin, by the tables above: t(4) 2.776, t(5) 2.571.
TEST_CASE("reference: how many shots settle it") {
  const double five = 2.776 * 0.8 / std::sqrt(5.0);
  CHECK(shots_needed(0.8, five * 1.001, 50) == 5);
  CHECK(shots_needed(0.8, five * 0.999, 50) == 6);
  CHECK(shots_needed(5.0, 0.1, 50) == 51);
}

// An interval is honest when it holds the truth 95 times in 100. Archers of the scatter the prior
// speaks of, films of the accuracy that ours have, one shot in thirty plucked by 3 deg.
TEST_CASE("truth: coverage of the interval of six shots") {
  boost::random::mt19937_64 generator(20);
  boost::random::normal_distribution<double> normal;
  boost::random::uniform_real_distribution<double> uniform;
  for (const double plucked : {0.0, 1.0 / 30.0}) {
    CAPTURE(plucked);
    constexpr int kTrials = 4000;
    int held = 0;
    for (int trial = 0; trial < kTrials; ++trial) {
      const double scatter = 0.3 + 0.5 * uniform(generator);
      std::vector<double> values;
      std::vector<double> u;
      for (int i = 0; i < 6; ++i) {
        u.push_back((0.2 + 0.4 * uniform(generator)) / 1.96);
        values.push_back(scatter * normal(generator) + u.back() * normal(generator));
        values.back() += uniform(generator) < plucked ? 3.0 : 0.0;
      }
      const RobustMean mean = robust_mean(values, u, {0.6, 2.0});
      held += std::abs(mean.mean) <= mean.u95() ? 1 : 0;
    }
    const double share = static_cast<double>(held) / kTrials;
    CAPTURE(share);
    // Three standard deviations of a share of 4000 are 1 %.
    CHECK(share > 0.94);
    CHECK(share < 0.98);
  }
}

// By simulation, with boost's own normal deviates: archers who scatter by 0.4 to 1 deg, readings of
// 0.3 deg, of which a part of the variance is the same error in all shots of a set-up. A mean that
// took that for chance would hold 50 to 60 % of twenty shots at three quarters.
TEST_CASE("truth: a mean's interval holds with errors that the shots share, and with an odd shot") {
  boost::random::mt19937_64 random(20261128);
  boost::random::normal_distribution<double> normal;
  boost::random::uniform_real_distribution<double> archer(0.4, 1.0);
  constexpr int kTrials = 1000;
  constexpr double kReading = 0.3;
  // Three standard deviations of a count at 90 and at 98 %.
  constexpr double kLeast = 0.90 - 3.0 * 0.0095;
  constexpr double kMost = 0.98 + 3.0 * 0.0044;
  for (const double odd : {0.0, 3.0}) {
    for (const double part : {0.0, 0.25, 0.5, 0.75}) {
      for (const std::size_t n : {3U, 4U, 6U, 10U, 20U}) {
        const double own = kReading * std::sqrt(1.0 - part);
        const double alike = kReading * std::sqrt(part);
        int held = 0;
        for (int trial = 0; trial < kTrials; ++trial) {
          const double scatter = archer(random);
          const double common = alike * normal(random);
          std::vector<double> values;
          for (std::size_t i = 0; i < n; ++i) {
            values.push_back(common + std::hypot(scatter, own) * normal(random));
          }
          values.front() += odd;
          const RobustMean mean = robust_mean(values, std::vector<double>(n, kReading), {0.6, 2.0},
                                              std::vector<double>(n, alike));
          held += std::abs(mean.mean) <= mean.u95() ? 1 : 0;
        }
        CAPTURE(odd);
        CAPTURE(part);
        CAPTURE(n);
        CHECK(held >= kLeast * kTrials);
        CHECK(held <= kMost * kTrials);
      }
    }
  }
}

TEST_CASE("unit: what the errors share stays in the mean whole, and is no scatter") {
  const std::vector<double> values(50, 1.0);
  const std::vector<double> u(50, 0.5);
  const RobustMean mean = robust_mean(values, u, {}, std::vector<double>(50, 0.3));
  CHECK(mean.lasting_u == Approx(0.3));
  CHECK(mean.u == Approx(std::hypot(0.3, 0.4 / std::sqrt(50.0))));
  CHECK(robust_mean(values, u, {}).lasting_u == 0.0);
}

// By simulation: half of a reading's variance is shared by the shots of one place, and 0.4 or 0.6
// of that (0.5 is reckoned with) by those of all places.
TEST_CASE("truth: a mean's interval holds where the phone was moved between shots") {
  boost::random::mt19937_64 random(20261130);
  boost::random::normal_distribution<double> normal;
  boost::random::uniform_real_distribution<double> archer(0.3, 0.8);
  constexpr int kTrials = 2000;
  constexpr double kReading = 0.5;
  constexpr double kLeast = 0.90 - 3.0 * 0.0067;
  constexpr double kMost = 0.98 + 3.0 * 0.0031;
  const std::vector<std::vector<int>> layouts{{0, 1, 2, 3},
                                              {0, 0, 0, 1, 1, 1},
                                              {0, 0, 0, 0, 0, 1},
                                              {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11},
                                              {0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2}};
  for (const double elsewhere : {0.4, 0.6}) {
    for (const std::vector<int>& places : layouts) {
      const std::size_t n = places.size();
      const double alike = kReading * std::sqrt(0.5);
      int held = 0;
      for (int trial = 0; trial < kTrials; ++trial) {
        const double scatter = archer(random);
        const double common = alike * std::sqrt(elsewhere) * normal(random);
        std::vector<double> of_place(n);
        for (double& each : of_place) {
          each = alike * std::sqrt(1.0 - elsewhere) * normal(random);
        }
        std::vector<double> values;
        for (const int place : places) {
          values.push_back(common + of_place[static_cast<std::size_t>(place)] +
                           std::hypot(scatter, alike) * normal(random));
        }
        const RobustMean mean = robust_mean(values, std::vector<double>(n, kReading), {0.6, 2.0},
                                            std::vector<double>(n, alike), places);
        held += std::abs(mean.mean) <= mean.u95() ? 1 : 0;
      }
      CAPTURE(elsewhere);
      CAPTURE(n);
      CAPTURE(places.back());
      CHECK(held >= kLeast * kTrials);
      CHECK(held <= kMost * kTrials);
    }
  }
}

TEST_CASE("unit: another place takes part of what shots share away, the same place nothing") {
  const std::vector<double> values(12, 1.0);
  const std::vector<double> u(12, 0.5);
  const std::vector<double> shared(12, 0.4);
  const auto lasting = [&](const std::vector<int>& places) {
    return robust_mean(values, u, {}, shared, places).lasting_u;
  };
  CHECK(lasting(std::vector<int>(12, 3)) == Approx(0.4));
  CHECK(lasting({0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1}) == Approx(0.4 * std::sqrt(0.5 + 0.5 * 0.5)));
  CHECK(lasting({0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}) == Approx(0.4 * std::sqrt(0.5)));
  // What other set-ups share does not depend on from how many places this one was filmed.
  for (const std::vector<int>& places :
       {std::vector<int>(12, 0), std::vector<int>{0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1},
        std::vector<int>{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}}) {
    CHECK(robust_mean(values, u, {}, shared, places).elsewhere_u ==
          Approx(0.4 * std::sqrt(kSharedElsewhere)));
  }
}
