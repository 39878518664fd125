// The prior over what no archer measures, and draws from it that depend on a seed and on nothing
// else: not on threads, not on the standard library (Boost.Random's generators and distributions
// are specified to the bit, std's distributions are not).
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <vector>

#include "nocktrail/arrow/power_stroke.hpp"

namespace nocktrail::arrow {

// Standard deviations around the middle in `middle`; those named _log are of the natural
// logarithm (0.25 is about +-25 %, one sigma).
struct Prior {
  Unknowns middle;
  double finger_ratio_log = 0.25;
  double finger_travel_log = 0.25;
  double finger_lift = 0.01;
  double plate_stiffness_log = 0.7;
  double shelf_stiffness_log = 0.7;
  double support_damping_log = 0.5;
  double ei_log = 0.04;
  double string_side_log = 0.15;
  double string_height_log = 0.4;
  double virtual_mass_log = 0.15;
  double limb_mass_log = 0.20;
  double early_weight = 0.12;
  double efficiency = 0.03;
  double flex_damping_log = 0.4;
  double string_side_mass_log = 0.2;
};

// The `index`-th draw of the stream `seed`.
Unknowns draw_unknowns(const Prior& prior, std::uint64_t seed, std::uint64_t index);

// A number in 0..1 from the same family of streams, for resampling.
double draw_uniform(std::uint64_t seed, std::uint64_t index);

// Runs `job(i)` for i = 0..count-1 on every core; the jobs must not share anything they write.
// An exception from a job is thrown again here.
void for_each_index(std::size_t count, const std::function<void(std::size_t)>& job,
                    unsigned threads = 0);

// Middle and ends of the central 95 % of `values`, by linear interpolation of the order
// statistics; all zero for no values.
struct Band {
  double median = 0.0;
  double low95 = 0.0;
  double high95 = 0.0;
};
Band band_of(std::vector<double> values);
double quantile_of_sorted(const std::vector<double>& sorted, double share);

}  // namespace nocktrail::arrow
