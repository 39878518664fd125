#include "accuracy_statistics.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <nlohmann/json.hpp>

#include "nocktrail/flight/headline.hpp"
#include "nocktrail/units/units.hpp"

namespace bench {
namespace {

double median(std::vector<double> v) {
  if (v.empty()) {
    return NAN;
  }
  std::sort(v.begin(), v.end());
  const std::size_t n = v.size();
  return n % 2 == 1 ? v[n / 2] : 0.5 * (v[n / 2 - 1] + v[n / 2]);
}

struct Figures {
  int clips = 0, measured = 0, wrong_side = 0;
  double rms_right = 0, median_right = 0, cover_right = 0, u95_right = 0, over_bound_right = 0;
  double rms_high = 0, median_high = 0, cover_high = 0, u95_high = 0;
  double rms_speed = 0, cover_speed = 0;  // the error in shares of the speed
};

Figures figures_of(const std::vector<const Row*>& rows) {
  Figures f;
  std::vector<double> right, high, u_right, u_high, ratio;
  int held_right = 0, held_high = 0, held_speed = 0;
  double s_right = 0, s_high = 0, s_speed = 0;
  for (const Row* row : rows) {
    if (!row->measurable) {
      continue;
    }
    ++f.clips;
    if (!row->measured) {
      continue;
    }
    ++f.measured;
    const double er = row->right - row->true_right;
    const double eh = row->high - row->true_high;
    s_right += er * er;
    s_high += eh * eh;
    s_speed += std::pow(row->speed / row->true_speed - 1.0, 2);
    held_speed += std::abs(row->speed - row->true_speed) <= row->speed_u95 ? 1 : 0;
    right.push_back(std::abs(er));
    high.push_back(std::abs(eh));
    u_right.push_back(row->right_u95);
    u_high.push_back(row->high_u95);
    if (row->bound_right > 0) {
      ratio.push_back(std::abs(er) / row->bound_right);
    }
    held_right += std::abs(er) <= row->right_u95 ? 1 : 0;
    held_high += std::abs(eh) <= row->high_u95 ? 1 : 0;
    f.wrong_side += std::abs(row->true_right) > 0.5 && row->right * row->true_right < 0 ? 1 : 0;
  }
  const double n = std::max(1, f.measured);
  f.rms_right = std::sqrt(s_right / n);
  f.rms_high = std::sqrt(s_high / n);
  f.rms_speed = std::sqrt(s_speed / n);
  f.cover_speed = held_speed / n;
  f.median_right = median(right);
  f.median_high = median(high);
  f.cover_right = held_right / n;
  f.cover_high = held_high / n;
  f.u95_right = median(u_right);
  f.u95_high = median(u_high);
  // Median absolute error of a normal error is 0.6745 sigma.
  f.over_bound_right = median(ratio) / 0.6745;
  return f;
}

std::string table_row(const std::string& name, const Figures& f) {
  return fmt::format(
      "| {} | {} | {} | {:.3f} | {:.3f} | {:.2f} | {:.1f} % | {:.2f} | {:.2f} | {:.2f} | {:.2f} | "
      "{:.1f} % | {:.1f} % | {:.1f} % | {} |\n",
      name, f.clips, f.clips - f.measured, f.rms_right, f.median_right, f.u95_right,
      100 * f.cover_right, f.over_bound_right, f.rms_high, f.median_high, f.u95_high,
      100 * f.cover_high, 100 * f.rms_speed, 100 * f.cover_speed, f.wrong_side);
}

std::string band(double value, const std::vector<double>& edges, const char* unit) {
  std::string low = "0";
  for (const double edge : edges) {
    if (value < edge) {
      return fmt::format("{}-{:g} {}", low, edge, unit);
    }
    low = fmt::format("{:g}", edge);
  }
  return fmt::format("over {} {}", low, unit);
}

}  // namespace

void fill_conditions(Row& row, const nlohmann::json& truth) {
  const auto& camera = truth.at("camera");
  const auto& arrow = truth.at("arrow");
  const double full_well = truth.at("conditions").value("full_well_e", 5000.0);
  row.light = band(full_well, {1500, 4000}, "electrons at white");
  row.shake = band(camera.value("shake_deg_per_s", 0.0), {0.5, 1.5}, "deg/s");
  row.resolution = fmt::format("{}x{}", truth.at("display_width").get<int>(),
                               truth.at("display_height").get<int>());
  row.rate = fmt::format("{:.0f} fps", truth.at("capture_fps").get<double>());
  row.arrow = fmt::format("{} {}", arrow.value("material", "?"),
                          arrow.value("fletched", true) ? "fletched" : "bare");
  row.cant = band(std::abs(truth.value("cant_deg", 0.0)), {10, 20}, "deg");
  row.beside = band(std::abs(camera.value("lateral_m", 0.0)), {0.05, 0.10}, "m");
  row.look = fmt::format("{}", truth.at("conditions").value("look", 1));
}

Bound cramer_rao(const nlohmann::json& truth, const std::string& tell) {
  using namespace nocktrail;
  const auto& shot = truth.at("shots").at(0);
  const auto& camera = truth.at("camera");
  const double focal = truth.at("camera").at("focal_px").get<double>();
  const int width = truth.at("display_width").get<int>();
  const int height = truth.at("display_height").get<int>();
  const Eigen::Vector2d principal((width - 1) / 2.0, (height - 1) / 2.0);
  const double exit_s = shot.at("exit_s").get<double>();
  std::vector<track::ArrowSighting> sightings;
  for (const auto& frame : shot.at("frames")) {
    const double t = frame.at("t_s").get<double>();
    if (t < exit_s || t > exit_s + 0.15) {
      continue;
    }
    // A steady camera and a straight arrow: hand shake and bending are not what the bound is about.
    const auto seen = [&](const char* key) -> Eigen::Vector2d {
      Eigen::Vector3d p = Eigen::Vector3d::Zero();
      for (int i = 0; i < 3; ++i) {
        for (int j = 0; j < 3; ++j) {
          p[i] += camera.at("camera_from_range")
                      .at(static_cast<std::size_t>(i))
                      .at(static_cast<std::size_t>(j))
                      .get<double>() *
                  (frame.at(key).at(static_cast<std::size_t>(j)).get<double>() -
                   camera.at("position_m").at(static_cast<std::size_t>(j)).get<double>());
        }
      }
      return principal + focal / p.z() * p.head<2>();
    };
    const Eigen::Vector2d nock = seen("rigid_nock_m");
    const Eigen::Vector2d tip = seen("rigid_tip_m");
    const double length = (tip - nock).norm();
    if (length < 7.0 || nock.y() > height || nock.y() < 0 || nock.x() < 0 || nock.x() > width) {
      continue;
    }
    track::ArrowSighting sighting;
    sighting.frame = static_cast<int>(sightings.size());
    sighting.t_s = t;
    for (int i = 1; i < 10; ++i) {
      sighting.centre.push_back({nock + i / 10.0 * (tip - nock), 0.25});
    }
    sighting.nock = track::EndPoint{nock, 1.2};
    sighting.tip = track::EndPoint{tip, 1.2};
    sightings.push_back(sighting);
  }
  if (sightings.size() < 4) {
    return {};
  }
  flight::FitOptions options;
  options.priors.focal_relative_sigma = tell.find('f') != std::string::npos ? 0.015 : 0.10;
  if (tell.find('l') != std::string::npos) {
    options.priors.length_m = {truth.at("arrow").at("arrow_length_m").get<double>(), 0.004};
  }
  flight::Parameters p = flight::Parameters::Zero();
  const double anchor = shot.at("reference_s").get<double>();
  const Eigen::Vector2d last = sightings.back().tip->at_px;
  p[flight::kVanishX] = last.x();
  p[flight::kVanishY] = last.y() - 40.0;
  const auto near =
      std::min_element(sightings.begin(), sightings.end(), [&](const auto& a, const auto& b) {
        return std::abs(a.t_s - anchor) < std::abs(b.t_s - anchor);
      });
  const Eigen::Vector2d middle = 0.5 * (near->nock->at_px + near->tip->at_px);
  p[flight::kCentreX] = middle.x();
  p[flight::kCentreY] = middle.y();
  p[flight::kLogDepth] = std::log(truth.at("camera").at("behind_m").get<double>() + 2.4);
  p[flight::kLogSpeed] = std::log(shot.at("speed_mps").get<double>());
  p[flight::kLogLength] = std::log(options.priors.length_m.mean);
  p[flight::kLogFocal] = std::log(focal);
  p[flight::kLogWave] = options.priors.log_wave.mean;
  p[flight::kDamping] = options.priors.damping.mean;
  p[flight::kFlexHz] = options.priors.flex_hz.mean;
  p[flight::kFlexDecay] = options.priors.flex_decay.mean;
  p[flight::kTipMass] = options.priors.tip_mass_ratio.mean;
  options.coarse = true;
  flight::FlightFit fit = flight::fit_flight_from_several(sightings, p, flight::Spread::pitch,
                                                          anchor, focal, principal, options);
  options.coarse = false;
  options.fixed_scatter = true;
  if (fit.converged) {
    fit = flight::fit_flight(sightings, fit.parameters, anchor, focal, principal, options);
  }
  if (!fit.converged) {
    return {};
  }
  const flight::Headline headline =
      flight::headline_at(fit, truth.at("camera").at("behind_m").get<double>(), 0.0, 2.0);
  return {units::deg_from_rad(headline.right_rad.u95) / 1.96,
          units::deg_from_rad(headline.high_rad.u95) / 1.96,
          units::deg_from_rad(headline.right_rad.value),
          units::deg_from_rad(headline.high_rad.value)};
}

std::string line_of(const Row& row) {
  if (!row.measured) {
    return fmt::format("{} {} {}: {}", row.clip, row.kind, row.refused ? "refused" : "no-shot",
                       row.reason);
  }
  return fmt::format(
      "{} right {:+.2f} +- {:.2f} (true {:+.2f}, err {:+.3f}, bound {:.3f}, ideal {:+.3f}){} high "
      "{:+.2f} +- {:.2f} (true {:+.2f}, err {:+.3f}, ideal {:+.3f}){} "
      "exit err {:+.1f} ms | {} | {} | beside {}",
      row.clip, row.right, row.right_u95, row.true_right, row.right - row.true_right,
      row.bound_right, row.ideal_right - row.true_right,
      std::abs(row.right - row.true_right) > row.right_u95 ? " MISS" : "", row.high, row.high_u95,
      row.true_high, row.high - row.true_high, row.ideal_high - row.true_high,
      std::abs(row.high - row.true_high) > row.high_u95 ? " MISS" : "",
      1e3 * (row.exit_s - row.true_exit_s), row.arrow, row.light, row.beside);
}

std::string csv_of(const std::vector<Row>& rows) {
  std::string text =
      "world,clip,kind,measurable,measured,true_right_deg,right_deg,right_u95_deg,bound_right_deg,"
      "true_"
      "high_deg,high_deg,"
      "high_u95_deg,bound_high_deg,true_speed_mps,speed_mps,speed_u95_mps,light,shake,resolution,"
      "rate,arrow,cant,beside,look\n";
  for (const Row& r : rows) {
    text += fmt::format(
        "{},{},{},{},{},{:.4f},{:.4f},{:.4f},{:.4f},{:.4f},{:.4f},{:.4f},{:.4f},{:.3f},{:.3f},{:."
        "3f},{},"
        "{},{},{},{},{},{},{}\n",
        r.world, r.clip, r.kind, r.measurable, r.measured, r.true_right, r.right, r.right_u95,
        r.bound_right, r.true_high, r.high, r.high_u95, r.bound_high, r.true_speed, r.speed,
        r.speed_u95, r.light, r.shake, r.resolution, r.rate, r.arrow, r.cant, r.beside, r.look);
  }
  return text;
}

std::string table_of(const std::vector<Row>& rows) {
  std::string text =
      "| clips | n | not measured | lateral RMSE deg | lateral median | lateral u95 (median) | "
      "lateral held | error / bound | "
      "vertical RMSE deg | vertical median | vertical u95 (median) | vertical held | speed RMSE | "
      "speed held | wrong side |\n"
      "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n";
  std::vector<const Row*> all;
  for (const Row& row : rows) {
    all.push_back(&row);
  }
  text += table_row("all", figures_of(all));
  const std::vector<std::pair<std::string, std::function<std::string(const Row&)>>> groups = {
      {"world", [](const Row& r) { return r.world; }},
      {"light", [](const Row& r) { return r.light; }},
      {"shake", [](const Row& r) { return r.shake; }},
      {"size", [](const Row& r) { return r.resolution; }},
      {"rate", [](const Row& r) { return r.rate; }},
      {"arrow", [](const Row& r) { return r.arrow; }},
      {"cant", [](const Row& r) { return r.cant; }},
      {"camera beside the plane", [](const Row& r) { return r.beside; }},
      {"look", [](const Row& r) { return r.look; }}};
  for (const auto& [name, key] : groups) {
    std::map<std::string, std::vector<const Row*>> parts;
    for (const Row& row : rows) {
      if (row.measurable) {
        parts[key(row)].push_back(&row);
      }
    }
    if (parts.size() < 2) {
      continue;
    }
    for (const auto& [value, part] : parts) {
      text += table_row(name + ": " + value, figures_of(part));
    }
  }
  int without = 0;
  int invented = 0;
  for (const Row& row : rows) {
    without += row.measurable ? 0 : 1;
    invented += !row.measurable && row.measured ? 1 : 0;
  }
  text += fmt::format("\nClips without a measurable shot: {}, of which given a number: {}.\n",
                      without, invented);
  return text;
}

}  // namespace bench
