#include "nocktrail/tune/statistics.hpp"

#include <algorithm>
#include <array>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <boost/math/tools/roots.hpp>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <map>
#include <numeric>

namespace nocktrail::tune {
namespace {

constexpr double kSigmaOfMad = 1.4826;  // of a normal sample
constexpr double kHuberBend = 2.5;      // sigmas up to which a shot keeps its full weight
constexpr double kMostFreedom = 1e6;    // beyond, Student is the normal

// Small samples underrate their spread by the MAD: factors of C. Croux and P. Rousseeuw,
// Computational Statistics 1 (1992) 411-428, for n = 2..9 (from memory).
double mad_factor(std::size_t n) {
  constexpr std::array<double, 10> kFactors{1.0,   1.0,   1.196, 1.495, 1.363,
                                            1.206, 1.200, 1.140, 1.129, 1.107};
  const auto count = static_cast<double>(n);
  return n < kFactors.size() ? kFactors[n] : count / (count - 0.8);
}

}  // namespace

double median_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) {
    return *middle;
  }
  return 0.5 * (*middle + *std::max_element(values.begin(), middle));
}

namespace {

struct Weighted {
  double mean = 0.0;
  std::vector<double> shares;  // sum to 1
};

Weighted weighted_mean(std::span<const double> values, std::span<const double> u,
                       std::span<const double> robust, double variance) {
  Weighted result;
  result.shares.resize(values.size());
  double sum = 0.0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double own = std::max(u[i] * u[i] + variance, 1e-12);
    result.shares[i] = (robust.empty() ? 1.0 : robust[i]) / own;
    sum += result.shares[i];
  }
  for (std::size_t i = 0; i < values.size(); ++i) {
    result.shares[i] /= sum;
    result.mean += result.shares[i] * values[i];
  }
  return result;
}

}  // namespace

double student_factor(double freedom, double coverage) {
  const double upper = 0.5 * (1.0 - coverage);
  if (!(freedom < kMostFreedom)) {
    return boost::math::quantile(boost::math::complement(boost::math::normal(), upper));
  }
  const boost::math::students_t student(std::max(freedom, 1.0));
  return boost::math::quantile(boost::math::complement(student, upper));
}

Contribution combined(std::span<const Contribution> parts) {
  double square = 0.0;
  double quartic = 0.0;
  for (const Contribution& part : parts) {
    const double own = part.u * part.u;
    square += own;
    quartic += own * own / part.freedom;
  }
  return {std::sqrt(square), quartic > 0.0 ? square * square / quartic : kKnown};
}

double paule_mandel(std::span<const double> values, std::span<const double> u,
                    std::span<const double> robust_weights) {
  const std::size_t n = values.size();
  const double expected = (robust_weights.empty() ? static_cast<double>(n)
                                                  : std::accumulate(robust_weights.begin(),
                                                                    robust_weights.end(), 0.0)) -
                          1.0;
  if (n < 2 || expected <= 0.0) {
    return 0.0;
  }
  const auto excess = [&](double variance) {
    const double mean = weighted_mean(values, u, robust_weights, variance).mean;
    double sum = -expected;
    for (std::size_t i = 0; i < n; ++i) {
      const double r = robust_weights.empty() ? 1.0 : robust_weights[i];
      const double off = r * (values[i] - mean);
      sum += off * off / std::max(u[i] * u[i] + variance, 1e-12);
    }
    return sum;
  };
  if (excess(0.0) <= 0.0) {
    return 0.0;
  }
  // The sum falls with the variance, and at the square of the range it is below its expectation.
  const auto [low, high] = std::minmax_element(values.begin(), values.end());
  double upper = std::max((*high - *low) * (*high - *low), 1e-12);
  while (excess(upper) > 0.0) {
    upper *= 2.0;
  }
  std::uintmax_t rounds = 200;
  const auto bracket = boost::math::tools::toms748_solve(
      excess, 0.0, upper, boost::math::tools::eps_tolerance<double>(45), rounds);
  return 0.5 * (bracket.first + bracket.second);
}

namespace {

// What is left of each shared error when the others of its place are no others: of a lone shot the
// part of the place is its own.
std::vector<double> shared_by_others(std::span<const double> shared, std::span<const int> places) {
  std::vector<double> left(shared.begin(), shared.end());
  if (std::all_of(places.begin(), places.end(), [&](int place) { return place == places[0]; })) {
    return left;
  }
  for (std::size_t i = 0; i < left.size(); ++i) {
    if (std::count(places.begin(), places.end(), places[i]) == 1) {
      left[i] *= std::sqrt(kSharedElsewhere);
    }
  }
  return left;
}

// Standard uncertainty of a weighted mean by what its values share, and of that what they share
// with values from other places.
struct Lasting {
  double u = 0.0;
  double elsewhere_u = 0.0;
};

Lasting lasting_of(const std::vector<double>& shares, std::span<const double> shared,
                   std::span<const int> places) {
  double all = 0.0;
  std::map<int, double> of_place;
  for (std::size_t i = 0; i < shared.size(); ++i) {
    const int place = places.empty() ? 0 : places[i];
    all += shares[i] * shared[i];
    of_place[place] += shares[i] * shared[i];
  }
  const double elsewhere_u = std::sqrt(kSharedElsewhere) * all;
  if (of_place.size() < 2) {
    return {all, elsewhere_u};
  }
  double variance = elsewhere_u * elsewhere_u;
  for (const auto& [place, sum] : of_place) {
    // A lone shot's part of the place is counted as its own.
    if (std::count(places.begin(), places.end(), place) > 1) {
      variance += (1.0 - kSharedElsewhere) * sum * sum;
    }
  }
  return {std::sqrt(variance), elsewhere_u};
}

}  // namespace

RobustMean robust_mean(std::span<const double> values, std::span<const double> whole_u,
                       const ScatterPrior& prior, std::span<const double> shared,
                       std::span<const int> places) {
  RobustMean result;
  const std::size_t n = values.size();
  if (n == 0) {
    return result;
  }
  std::vector<double> u(whole_u.begin(), whole_u.end());
  const std::vector<double> others = shared_by_others(shared, places);
  for (std::size_t i = 0; i < shared.size(); ++i) {
    u[i] = std::sqrt(std::max(u[i] * u[i] - others[i] * others[i], 0.0));
  }
  result.weights.assign(n, 1.0);
  result.distance.assign(n, 0.0);
  const double middle = median_of({values.begin(), values.end()});
  // Three shots cannot say which of them is the odd one.
  if (n >= 4) {
    std::vector<double> off(n);
    std::transform(values.begin(), values.end(), off.begin(),
                   [middle](double value) { return std::abs(value - middle); });
    const double spread = kSigmaOfMad * mad_factor(n) * median_of(off);
    for (std::size_t i = 0; i < n; ++i) {
      // A chance agreement of the others must not make an ordinary shot an outlier.
      const double sigma = std::max({spread, u[i], 0.5 * std::hypot(prior.sd, u[i]), 1e-9});
      result.distance[i] = (values[i] - middle) / sigma;
      result.weights[i] = std::min(1.0, kHuberBend / std::max(off[i] / sigma, 1e-9));
    }
  }
  const double own_variance = paule_mandel(values, u, result.weights);
  result.scatter = std::sqrt(own_variance);
  const double effective = std::accumulate(result.weights.begin(), result.weights.end(), 0.0);
  const double own_freedom = std::max(effective - 1.0, 0.0);
  const double freedom = own_freedom + prior.freedom;
  const double variance =
      freedom > 0.0 ? (own_freedom * own_variance + prior.freedom * prior.sd * prior.sd) / freedom
                    : 0.0;
  const Weighted weighted = weighted_mean(values, u, result.weights, variance);
  result.mean = weighted.mean;
  double from_scatter = 0.0;
  double from_measurement = 0.0;
  double per_shot = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    const double share = weighted.shares[i] * weighted.shares[i];
    from_scatter += share * variance;
    from_measurement += share * u[i] * u[i];
    per_shot += weighted.shares[i] * u[i] * u[i];
  }
  // The scatter is what is left of the shots' spread after taking the measurement out: that
  // difference is known less well than the spread itself.
  const double left = variance > 0.0 ? variance / (variance + per_shot) : 1.0;
  const Lasting lasting = lasting_of(weighted.shares, shared, places);
  result.lasting_u = lasting.u;
  result.elsewhere_u = lasting.elsewhere_u;
  const std::array<Contribution, 3> parts{
      Contribution{std::sqrt(from_scatter), std::max(left * left * freedom, 1e-9)},
      Contribution{std::sqrt(from_measurement), kKnown}, Contribution{result.lasting_u, kKnown}};
  const Contribution both = combined(parts);
  result.u = both.u;
  // With no scatter left at all, the shots still are what says so.
  result.freedom = std::isfinite(both.freedom) ? both.freedom : std::max(freedom, 1.0);
  return result;
}

int shots_needed(double sd, double margin, int most) {
  for (int n = 2; n <= most; ++n) {
    if (student_factor(n - 1.0) * sd / std::sqrt(static_cast<double>(n)) <= margin) {
      return n;
    }
  }
  return most + 1;
}

}  // namespace nocktrail::tune
