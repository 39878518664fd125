// Figures of merit of the accuracy bench.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

namespace bench {

// One clip: what was read and what was true. Degrees, seconds, m/s; NaN where there is nothing.
struct Row {
  std::string world;  // the folder
  std::string clip;
  std::string kind;
  std::string reason;
  bool measurable = true;
  bool measured = false;
  bool refused = false;
  double true_right = 0, true_high = 0, true_exit_s = 0;
  double right = 0, right_u95 = 0, high = 0, high_u95 = 0;
  double true_speed = 0, speed = 0, speed_u95 = 0, exit_s = 0;
  double bound_right = 0, bound_high = 0;  // 1 sigma
  double ideal_right = 0, ideal_high = 0;  // fit of noiseless sightings
  // Conditions, as words for grouping.
  std::string light, shake, resolution, rate, arrow, cant, beside, look;
};

void fill_conditions(Row& row, const nlohmann::json& truth);

// Cramer-Rao bound of the headline, 1 sigma, degrees: the information of ideal sightings (0.25 px
// across the shaft, 1.2 px along it at nock and tip, in every frame in which the truth has the
// arrow in the picture and at least 7 px long) under the fit's priors.
struct Bound {
  double right_deg = 0.0;
  double high_deg = 0.0;
  double ideal_right_deg = 0.0;  // what the fit makes of noiseless sightings: its own bias
  double ideal_high_deg = 0.0;
};
Bound cramer_rao(const nlohmann::json& truth, const std::string& tell);

std::string line_of(const Row& row);
std::string csv_of(const std::vector<Row>& rows);
std::string table_of(const std::vector<Row>& rows);

}  // namespace bench
