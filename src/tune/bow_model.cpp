#include "bow_model.hpp"

#include <algorithm>
#include <boost/math/interpolators/cardinal_cubic_b_spline.hpp>
#include <cmath>

namespace nocktrail::tune {
namespace {

// The model's own steps are finer; these change the offset by a few hundredths of a degree at a
// quarter of the time (docs/arrow-model.md, "Step size and modes").
arrow::StrokeOptions quick_stroke(bool vertical) {
  arrow::StrokeOptions stroke;
  stroke.step_s = 100e-6;
  stroke.beam.elements = 8;
  stroke.beam.bending_modes = 5;
  stroke.vertical = vertical;
  return stroke;
}

// A shaft that folds counts as far out, not as infinitely far.
constexpr double kFarthest_deg = 30.0;

constexpr std::size_t kNodes = 8;

std::vector<double> key_of(const arrow::Setup& setup, bool vertical) {
  const arrow::Bow& bow = setup.bow;
  const arrow::ArrowBuild& build = setup.arrow;
  const arrow::Shaft& shaft = build.shaft;
  // The lateral plane knows nothing of the nocking point.
  return {bow.draw_weight_n,
          bow.rated_draw_m,
          bow.brace_height_m,
          bow.plate_offset_m,
          vertical ? bow.nocking_point_m : 0.0,
          bow.string_mass_kg.value_or(0.0),
          setup.archer.hand == Hand::left ? -1.0 : 1.0,
          setup.archer.draw_m,
          shaft.length_m,
          shaft.ei_n_m2,
          shaft.mass_per_length_kg_per_m,
          shaft.diameter_m,
          build.nock_mass_kg,
          build.tip_mass_kg,
          build.fletching_mass_kg,
          build.fletching_from_nock_m,
          build.fletching_area_m2};
}

}  // namespace

arrow::Setup with(arrow::Setup setup, Quantity quantity, double value) {
  switch (quantity) {
    case Quantity::shaft_length:
      setup.arrow.shaft.length_m = value;
      break;
    case Quantity::tip_mass:
      setup.arrow.tip_mass_kg = value;
      break;
    case Quantity::nocking_point:
      setup.bow.nocking_point_m = value;
      break;
    case Quantity::brace_height:
      setup.bow.brace_height_m = value;
      break;
    case Quantity::plate_offset:
      setup.bow.plate_offset_m = value;
      break;
    case Quantity::spine:
      setup.arrow.shaft.mass_per_length_kg_per_m *= std::sqrt(value / setup.arrow.shaft.ei_n_m2);
      setup.arrow.shaft.ei_n_m2 = value;
      break;
  }
  return setup;
}

double value_in(const arrow::Setup& setup, Quantity quantity) {
  switch (quantity) {
    case Quantity::shaft_length:
      return setup.arrow.shaft.length_m;
    case Quantity::tip_mass:
      return setup.arrow.tip_mass_kg;
    case Quantity::nocking_point:
      return setup.bow.nocking_point_m;
    case Quantity::brace_height:
      return setup.bow.brace_height_m;
    case Quantity::plate_offset:
      return setup.bow.plate_offset_m;
    case Quantity::spine:
      break;
  }
  return setup.arrow.shaft.ei_n_m2;
}

BowModel::BowModel(std::size_t draws, std::uint64_t seed, bool vertical) : vertical_(vertical) {
  for (std::size_t i = 0; i < draws; ++i) {
    draws_.push_back(arrow::draw_unknowns({}, seed, i));
  }
}

const Eigen::VectorXd& BowModel::offsets(const arrow::Setup& setup) {
  const auto [entry, fresh] = known_.try_emplace(key_of(setup, vertical_));
  if (fresh) {
    Eigen::VectorXd offsets(static_cast<Eigen::Index>(draws_.size()));
    const arrow::StrokeOptions stroke = quick_stroke(vertical_);
    arrow::for_each_index(draws_.size(), [&](std::size_t i) {
      const arrow::ExitState shot = arrow::simulate_shot(setup, draws_[i], stroke);
      const double offset =
          vertical_ ? shot.vertical.reference_offset_deg : shot.lateral.reference_offset_deg;
      offsets(static_cast<Eigen::Index>(i)) =
          std::isfinite(offset) ? std::clamp(offset, -kFarthest_deg, kFarthest_deg)
                                : -kFarthest_deg;
    });
    entry->second = std::move(offsets);
  }
  return entry->second;
}

bool BowModel::alike(const arrow::Setup& a, const arrow::Setup& b) const {
  return key_of(a, vertical_) == key_of(b, vertical_);
}

Eigen::MatrixXd BowModel::along(const arrow::Setup& setup, Quantity quantity,
                                const std::vector<double>& at) {
  const auto draws = static_cast<Eigen::Index>(draws_.size());
  Eigen::MatrixXd result(draws, static_cast<Eigen::Index>(at.size()));
  if (at.size() <= kNodes) {
    for (std::size_t k = 0; k < at.size(); ++k) {
      result.col(static_cast<Eigen::Index>(k)) = offsets(with(setup, quantity, at[k]));
    }
    return result;
  }
  const auto [first, last] = std::minmax_element(at.begin(), at.end());
  const double front = *first;
  const double step = (*last - front) / static_cast<double>(kNodes - 1);
  Eigen::MatrixXd nodes(draws, static_cast<Eigen::Index>(kNodes));
  for (std::size_t k = 0; k < kNodes; ++k) {
    nodes.col(static_cast<Eigen::Index>(k)) =
        offsets(with(setup, quantity, front + step * static_cast<double>(k)));
  }
  std::vector<double> row(kNodes);
  for (Eigen::Index i = 0; i < draws; ++i) {
    for (std::size_t k = 0; k < kNodes; ++k) {
      row[k] = nodes(i, static_cast<Eigen::Index>(k));
    }
    const boost::math::interpolators::cardinal_cubic_b_spline<double> spline(row.begin(), row.end(),
                                                                             at.front(), step);
    for (std::size_t k = 0; k < at.size(); ++k) {
      result(i, static_cast<Eigen::Index>(k)) = spline(at[k]);
    }
  }
  return result;
}

}  // namespace nocktrail::tune
