#include "places.hpp"

#include <cmath>
#include <cstddef>

namespace nocktrail::tune {
namespace {

// Correlation of two backdrops: no matter how bright each is.
double alike(const std::vector<std::uint8_t>& a, const std::vector<std::uint8_t>& b) {
  const Eigen::ArrayXd of_a = from_its_mean(a);
  const Eigen::ArrayXd of_b = from_its_mean(b);
  const double spread = of_a.matrix().norm() * of_b.matrix().norm();
  return spread > 0.0 ? (of_a * of_b).sum() / spread : 1.0;
}

bool apart(const Measured& a, const Measured& b) {
  // A hand that holds the phone sways by some centimetres.
  constexpr double kLeast_m = 0.05;
  const double by_m = std::abs(a.value - b.value);
  return by_m > kLeast_m && by_m > std::hypot(a.u95, b.u95);
}

}  // namespace

Eigen::ArrayXd from_its_mean(const std::vector<std::uint8_t>& backdrop) {
  const Eigen::Map<const Eigen::Array<std::uint8_t, Eigen::Dynamic, 1>> grey(
      backdrop.data(), static_cast<Eigen::Index>(backdrop.size()));
  const Eigen::ArrayXd value = grey.cast<double>();
  return value - value.mean();
}

bool moved_between(const FilmedFrom& a, const FilmedFrom& b) {
  constexpr double kSameView = 0.95;
  return !a.backdrop.empty() && a.backdrop.size() == b.backdrop.size() &&
         alike(a.backdrop, b.backdrop) < kSameView &&
         (apart(a.right_m, b.right_m) || apart(a.above_m, b.above_m) ||
          apart(a.behind_m, b.behind_m));
}

std::vector<int> places_of(const std::vector<const FilmedFrom*>& shots) {
  std::vector<int> place(shots.size(), 0);
  int places = 0;
  for (std::size_t i = 0; i < shots.size(); ++i) {
    place[i] = places;
    for (std::size_t k = 0; k < i; ++k) {
      if (shots[i] == nullptr || shots[k] == nullptr || !moved_between(*shots[i], *shots[k])) {
        place[i] = place[k];
        break;
      }
    }
    places += place[i] == places ? 1 : 0;
  }
  return place;
}

}  // namespace nocktrail::tune
