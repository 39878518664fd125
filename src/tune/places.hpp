// From how many places the shots of a set-up were filmed.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <vector>

#include "nocktrail/reading.hpp"

namespace nocktrail::tune {

// A backdrop's levels less their mean: no matter how bright the whole is.
Eigen::ArrayXd from_its_mean(const std::vector<std::uint8_t>& backdrop);

// Whether the phone was clearly put up elsewhere between two shots: both the fitted places and the
// backdrops say so.
bool moved_between(const FilmedFrom& a, const FilmedFrom& b);

// A number for each shot, the same for those that may have been filmed from one place; null where a
// reading does not say from where.
std::vector<int> places_of(const std::vector<const FilmedFrom*>& shots);

}  // namespace nocktrail::tune
