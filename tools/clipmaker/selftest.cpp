#include "selftest.hpp"

#include <fmt/core.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "arrow_draw.hpp"
#include "beam.hpp"
#include "camera.hpp"
#include "sampler.hpp"
#include "truth.hpp"
#include "view.hpp"

namespace clipmaker {
namespace {

class Report {
 public:
  void check(const std::string& what, double value, double expected, double tolerance) {
    const bool ok = std::abs(value - expected) <= tolerance;
    failures_ += ok ? 0 : 1;
    fmt::print("{}  {}: {:.6g}, expected {:.6g} +- {:.2g}\n", ok ? "ok  " : "FAIL", what, value,
               expected, tolerance);
  }
  int failures() const { return failures_; }

 private:
  int failures_ = 0;
};

// Table "Point end masses" of the trade facts: beta L and mode-1 nodes, derived there and confirmed
// with a second finite-element program; the massless rows are the handbook's (Blevins, 1979), that
// of mode 2 from memory.
void check_beam(Report& report) {
  struct Row {
    double nock, tip, beta, node_a, node_b;
    int number = 1;
  };
  for (const Row& row :
       {Row{0.0, 0.0, 4.730041, 0.22416, 0.77584}, Row{0.0, 0.10, 4.4303, 0.2388, 0.8333},
        Row{0.0, 0.25, 4.2490, 0.2479, 0.8791}, Row{0.0, 1.00, 4.0418, 0.2584, 0.9484},
        Row{0.03, 0.25, 4.1438, 0.2270, 0.8744}, Row{0.25, 0.25, 3.8135, 0.1411, 0.8589},
        Row{0.0, 0.0, 7.853205, 0.1321, 0.5, 2}}) {
    const BeamMode mode(row.nock, row.tip, row.number);
    const auto name =
        fmt::format("beam with masses {} and {}, mode {}", row.nock, row.tip, row.number);
    report.check(name + ", beta L", mode.beta_l(), row.beta, 6e-5);
    report.check(name + ", first node: w", mode.shape(row.node_a), 0.0, 5e-4);
    report.check(name + ", second node: w", mode.shape(row.node_b), 0.0, 5e-4);
    // Orthogonal in mass to translation and rotation.
    double push = row.nock * mode.shape(0.0) + row.tip * mode.shape(1.0);
    double turn = row.tip * mode.shape(1.0);
    const int n = 2000;
    for (int i = 0; i < n; ++i) {
      const double s = (i + 0.5) / n;
      push += mode.shape(s) / n;
      turn += s * mode.shape(s) / n;
    }
    report.check(name + ", momentum", push, 0.0, 1e-5);
    report.check(name + ", angular momentum", turn, 0.0, 1e-5);
  }
}

// The headline against the contract's definition applied to positions alone: velocity by finite
// differences of the centre of mass, axis from the rigid ends.
void check_headline(Report& report) {
  for (std::uint64_t i = 0; i < 9; ++i) {
    SampleOptions options;
    options.world = i < 6 ? "" : "motion";
    const ClipSpec spec = sample(20, i, options);
    const ArrowFlight flight(spec.arrow, spec.shots.front(), spec.archer.brace_m, 0.0);
    const double share = flight.mode().centre_of_mass();
    const auto ends = [&](double t) {
      const ArrowPose pose = flight.pose(t);
      return std::pair{flight.rigid_point(pose, 0.0),
                       flight.rigid_point(pose, spec.arrow.length_m)};
    };
    const auto centre = [&](double t) -> Eigen::Vector3d {
      const auto [nock, tip] = ends(t);
      return nock + share * (tip - nock);
    };
    const double t = flight.truth().reference_s;
    const auto [nock, tip] = ends(t);
    const Eigen::Vector3d u = centre(t + 2e-4) - centre(t - 2e-4);
    const Eigen::Vector3d d = tip - nock;
    constexpr double deg = 180.0 / std::numbers::pi;
    report.check(fmt::format("clip {}: Z(nock) at the reference", i), nock.z(), 2.0, 1e-6);
    report.check(fmt::format("clip {}: nock right", i), flight.truth().nock_right_deg,
                 (std::atan2(u.x(), u.z()) - std::atan2(d.x(), d.z())) * deg, 1e-3);
    report.check(fmt::format("clip {}: nock high", i), flight.truth().nock_high_deg,
                 (std::atan2(-u.y(), std::hypot(u.x(), u.z())) -
                  std::atan2(-d.y(), std::hypot(d.x(), d.z()))) *
                     deg,
                 1e-3);
    // No jump where the string is left.
    const double exit = flight.exit_s();
    report.check(fmt::format("clip {}: nock jump at exit, mm", i),
                 1e3 * (flight.point(flight.pose(exit - 1e-7), 0.0) -
                        flight.point(flight.pose(exit + 1e-7), 0.0))
                           .norm(),
                 0.0, 0.05);
    report.check(fmt::format("clip {}: Z(nock) at exit", i),
                 flight.rigid_point(flight.pose(exit), 0.0).z(), -spec.archer.brace_m, 1e-6);
  }
}

// Draws the arrow and compares the middle of its coverage, row by row, with the line between the
// projected ends (its projected points between them too: a rolling shutter curves it). Coverage,
// not brightness: light and ground would shift the middle honestly.
void check_drawing(Report& report, double readout_s, int rotation_deg, double lateral_m) {
  ClipSpec spec = sample(21, 3, {});
  spec.arrow.fletched = false;
  spec.camera.exposure_s = 1e-6;
  spec.camera.readout_s = readout_s;
  spec.camera.roll_deg = 2.0;
  spec.camera.lateral_m = lateral_m;
  spec.camera.shake_deg_per_s = 2.0;
  spec.picture.rotation_deg = rotation_deg;
  ShotSpec& shot = spec.shots.front();
  shot.flex_lateral_mm = shot.flex_vertical_mm = 0.0;
  const Camera camera(spec.camera, spec.picture, spec.seed);
  const std::vector<ArrowFlight> flights{
      ArrowFlight(spec.arrow, shot, spec.archer.brace_m, spec.range.butt_m)};
  const int frames = static_cast<int>(spec.duration_s * spec.picture.fps);
  const auto truth = truth_of(spec, "", "", camera, flights, frames);
  const ArrowPainter painter(spec.arrow, Light{});
  Layer layer;
  int used = 0;
  double worst_mean = 0.0;
  double worst_end = 0.0;
  for (const auto& row : truth["shots"][0]["frames"]) {
    const double z = row["rigid_nock_m"][2].get<double>();
    if (row["phase"] != "flying" || z < 1.0 || z > 3.5) {
      continue;
    }
    layer.reset({0, 0, camera.width(), camera.height()});
    const double t = row["t_s"].get<double>();
    painter.paint(layer, View(camera, t), flights[0], t, -1.0, spec.arrow.length_m);
    const Eigen::Vector2d nock(row["rigid_nock_px"][0].get<double>(),
                               row["rigid_nock_px"][1].get<double>());
    const Eigen::Vector2d tip(row["rigid_tip_px"][0].get<double>(),
                              row["rigid_tip_px"][1].get<double>());
    const View view(camera, t);
    std::vector<Eigen::Vector2d> axis;
    for (int i = 0; i <= 8; ++i) {
      const auto seen = view.rolling(
          [&](double when) {
            return flights[0].rigid_point(flights[0].pose(when), spec.arrow.length_m * i / 8.0);
          },
          t);
      axis.push_back(seen ? seen->px : nock);
    }
    const auto axis_x = [&](double y) {
      for (std::size_t i = 0; i + 1 < axis.size(); ++i) {
        const double along = (y - axis[i].y()) / (axis[i + 1].y() - axis[i].y());
        if (along >= 0.0 && along <= 1.0) {
          return axis[i].x() + along * (axis[i + 1].x() - axis[i].x());
        }
      }
      return nock.x();
    };
    worst_end = std::max(worst_end, (axis.front() - nock).norm() + (axis.back() - tip).norm());
    double sum = 0.0;
    int rows = 0;
    int first = 1 << 20;
    for (int y = 0; y < camera.height(); ++y) {
      double weight = 0.0;
      double moment = 0.0;
      for (int x = layer.span(y).from; x < layer.span(y).to; ++x) {
        weight += static_cast<double>(layer.at(x, y)[3]);
        moment += static_cast<double>(layer.at(x, y)[3]) * x;
      }
      if (weight < 0.1) {
        continue;
      }
      first = std::min(first, y);
      const double along = (y - nock.y()) / (tip.y() - nock.y());
      if (along > 0.15 && along < 0.85) {
        sum += moment / weight - axis_x(y);
        ++rows;
      }
    }
    if (rows > 5) {
      ++used;
      worst_mean = std::max(worst_mean, std::abs(sum / rows));
      worst_end = std::max(worst_end, std::abs(first - tip.y()));
    }
  }
  const auto name = fmt::format("drawn arrow, read-out {} ms, turned {}, camera {} m aside",
                                readout_s * 1e3, rotation_deg, lateral_m);
  report.check(name + ": frames compared", std::min(used, 5), 5, 0);
  report.check(name + ": middle against truth, px, worst frame", worst_mean, 0.0, 0.02);
  report.check(name + ": first row against the tip, px, worst frame", worst_end, 0.0, 1.5);
}

}  // namespace

int self_test() {
  Report report;
  check_beam(report);
  check_headline(report);
  check_drawing(report, 0.0, 0, 0.05);
  check_drawing(report, 0.004, 0, 0.05);
  check_drawing(report, 0.004, 90, -0.1);
  check_drawing(report, 0.004, 270, 0.1);
  check_drawing(report, 0.004, 180, 0.0);
  fmt::print("{} failed\n", report.failures());
  return report.failures();
}

}  // namespace clipmaker
