#include "nocktrail/arrow/unknowns.hpp"

#include <algorithm>
#include <atomic>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_01.hpp>
#include <cmath>
#include <exception>
#include <mutex>
#include <thread>

namespace nocktrail::arrow {
namespace {

// SplitMix64's finalizer: neighbouring (seed, index) pairs give unrelated generator states.
std::uint64_t mixed(std::uint64_t seed, std::uint64_t index) {
  std::uint64_t z = seed + 0x9e3779b97f4a7c15ULL * (index + 1);
  z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9ULL;
  z = (z ^ (z >> 27U)) * 0x94d049bb133111ebULL;
  return z ^ (z >> 31U);
}

}  // namespace

Unknowns draw_unknowns(const Prior& prior, std::uint64_t seed, std::uint64_t index) {
  boost::random::mt19937_64 generator(mixed(seed, index));
  boost::random::normal_distribution<double> normal(0.0, 1.0);
  const auto scaled = [&](double middle, double spread_log) {
    return middle * std::exp(spread_log * normal(generator));
  };
  const auto shifted = [&](double middle, double spread) {
    return middle + spread * normal(generator);
  };
  Unknowns u = prior.middle;
  u.finger_ratio = scaled(u.finger_ratio, prior.finger_ratio_log);
  u.finger_travel_m = scaled(u.finger_travel_m, prior.finger_travel_log);
  u.finger_lift_ratio = shifted(u.finger_lift_ratio, prior.finger_lift);
  u.plate_stiffness_n_per_m = scaled(u.plate_stiffness_n_per_m, prior.plate_stiffness_log);
  u.shelf_stiffness_n_per_m = scaled(u.shelf_stiffness_n_per_m, prior.shelf_stiffness_log);
  u.support_damping_n_s_per_m = scaled(u.support_damping_n_s_per_m, prior.support_damping_log);
  u.ei_factor = scaled(u.ei_factor, prior.ei_log);
  u.string_side_factor = scaled(u.string_side_factor, prior.string_side_log);
  u.string_height_factor = scaled(u.string_height_factor, prior.string_height_log);
  u.virtual_mass_kg = scaled(u.virtual_mass_kg, prior.virtual_mass_log);
  u.limb_mass_kg = scaled(u.limb_mass_kg, prior.limb_mass_log);
  u.early_weight = std::clamp(shifted(u.early_weight, prior.early_weight), 0.0, 2.0);
  u.efficiency = std::clamp(shifted(u.efficiency, prior.efficiency), 0.5, 1.0);
  u.flex_damping_ratio = scaled(u.flex_damping_ratio, prior.flex_damping_log);
  u.string_side_mass_kg = scaled(u.string_side_mass_kg, prior.string_side_mass_log);
  return u;
}

double draw_uniform(std::uint64_t seed, std::uint64_t index) {
  boost::random::mt19937_64 generator(mixed(seed ^ 0x5bf03635aca5f1d3ULL, index));
  boost::random::uniform_01<double> uniform;
  return uniform(generator);
}

void for_each_index(std::size_t count, const std::function<void(std::size_t)>& job,
                    unsigned threads) {
  if (threads == 0) {
    threads = std::max(1U, std::thread::hardware_concurrency());
  }
  std::atomic<std::size_t> next{0};
  std::exception_ptr failure;
  std::mutex failure_guard;
  const auto work = [&] {
    for (std::size_t i = next++; i < count; i = next++) {
      try {
        job(i);
      } catch (...) {
        const std::lock_guard lock(failure_guard);
        failure = std::current_exception();
        return;
      }
    }
  };
  {
    std::vector<std::jthread> helpers;
    for (unsigned t = 1; t < threads; ++t) {
      helpers.emplace_back(work);
    }
    work();
  }
  if (failure) {
    std::rethrow_exception(failure);
  }
}

double quantile_of_sorted(const std::vector<double>& sorted, double share) {
  if (sorted.empty()) {
    return 0.0;
  }
  const double position = share * static_cast<double>(sorted.size() - 1);
  const auto below = static_cast<std::size_t>(position);
  const std::size_t above = std::min(below + 1, sorted.size() - 1);
  const double part = position - static_cast<double>(below);
  return sorted[below] + part * (sorted[above] - sorted[below]);
}

Band band_of(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return {quantile_of_sorted(values, 0.5), quantile_of_sorted(values, 0.025),
          quantile_of_sorted(values, 0.975)};
}

}  // namespace nocktrail::arrow
