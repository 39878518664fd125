#include "nocktrail/bow/limb.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "limb_fit.hpp"
#include "limb_strip.hpp"
#include "nocktrail/optics/camera.hpp"

namespace nocktrail::bow {
namespace {

struct Best {
  double total = 0.0;
  double share = 0.0;  // of its stations with both edges
  double length_m = 0.0;
  int shift = 0;  // laterals
  double width_m = 0.0;
  int stations = 0;
  LimbShape shape;
};

constexpr std::array<double, 4> kWidths_m{0.026, 0.033, 0.041, 0.052};
// What a station must show to speak for a limb rather than against it; a random pair of places in
// texture gives 0 in the mean.
constexpr double kBreakEven = 0.5;
constexpr double kMostAStation = 2.0;

// The best pair of edges along one curve: over lateral shifts, widths and where the limb ends.
Best best_along(const Strip& strip, const LimbOptions& options) {
  Best best;
  best.shape = strip.shape;
  if (strip.stations * kStation_m < options.least_length_m) {
    return best;
  }
  std::vector<double> squares(static_cast<std::size_t>(strip.stations) * (kLaterals + 1), 0.0);
  for (int i = 0; i < strip.stations; ++i) {
    const std::size_t sums = static_cast<std::size_t>(i) * (kLaterals + 1);
    for (int j = 0; j < kLaterals; ++j) {
      const double g = strip.at(i, j);
      const std::size_t at = sums + static_cast<std::size_t>(j);
      squares[at + 1] = squares[at] + g * g;
    }
  }
  const int most_shift = static_cast<int>(options.most_across_m / kLateral_m);
  // Of one station: laterals from the middle to the edges, and as far again about them.
  struct Reach {
    int edge = 0;
    int about = 0;
  };
  std::vector<Reach> reaches(static_cast<std::size_t>(strip.stations));
  for (const double full_m : kWidths_m) {
    for (std::size_t i = 0; i < reaches.size(); ++i) {
      const double half = half_width_m(full_m, strip.up_m[i], options.half_length_m) / kLateral_m;
      reaches[i] = {static_cast<int>(std::lround(half)),
                    static_cast<int>(std::lround(2.2 * half)) + 4};
    }
    for (int shift = -most_shift; shift <= most_shift; ++shift) {
      const int middle = kReach + shift;
      double total = 0.0;
      int both = 0;
      for (int i = 0; i < strip.stations; ++i) {
        const Reach& reach = reaches[static_cast<std::size_t>(i)];
        const int left = middle - reach.edge;
        const int right = middle + reach.edge;
        const int from = std::max(0, middle - reach.about);
        const int to = std::min(kLaterals, middle + reach.about + 1);
        const std::size_t sums = static_cast<std::size_t>(i) * (kLaterals + 1);
        const double mean_square = (squares[sums + static_cast<std::size_t>(to)] -
                                    squares[sums + static_cast<std::size_t>(from)]) /
                                       (to - from) +
                                   kNoise * kNoise;
        const double product = -strip.at(i, left) * strip.at(i, right);
        const double here = std::clamp(product / mean_square, -kMostAStation, kMostAStation);
        both += here > kBreakEven ? 1 : 0;
        total += here - kBreakEven;
        if (total > best.total) {
          best.total = total;
          best.share = static_cast<double>(both) / (i + 1);
          best.length_m = (i + 1) * kStation_m;
          best.shift = shift;
          best.width_m = full_m;
          best.stations = i + 1;
        }
      }
    }
  }
  return best;
}

std::vector<Edges> edges_along(const Strip& strip, const Best& best, const Place& place,
                               const LimbOptions& options) {
  std::vector<Edges> edges;
  const Eigen::Vector3d across =
      place.right * std::cos(strip.shape.cant_rad) + place.down * std::sin(strip.shape.cant_rad);
  for (int i = 0; i < std::min(best.stations, strip.stations); ++i) {
    const double up = strip.up_m[static_cast<std::size_t>(i)];
    const double half = half_width_m(best.width_m, up, options.half_length_m) / kLateral_m;
    const double middle = kReach + best.shift;
    const double at_left = strip.at(i, static_cast<int>(std::lround(middle - half)));
    const double at_right = strip.at(i, static_cast<int>(std::lround(middle + half)));
    const double sign = at_left - at_right > 0.0 ? 1.0 : -1.0;
    const auto left = edge_near(strip, i, middle - half, sign);
    const auto right = edge_near(strip, i, middle + half, -sign);
    if (!left || !right) {
      continue;
    }
    const Eigen::Vector3d point = limb_point(place, strip.shape, up, options.half_length_m);
    const auto seen = [&](double lateral) {
      return optics::project<double>(place.focal_px, place.principal_px,
                                     point + across * ((lateral - kReach) * kLateral_m));
    };
    edges.push_back({up, seen(*left), seen(*right)});
  }
  return edges;
}

constexpr double kCantStep_rad = 0.0125;  // 0.7 deg: 10 mm at the tip, a third of a width

// How a limb may bend and lean, the cant apart.
struct Bend {
  double lean_rad = 0.0;
  double back_m = 0.0;
  double side_m = 0.0;
};

std::vector<Bend> few_bends(const LimbOptions& options) {
  std::vector<Bend> bends;
  for (const double sigmas : {-1.0, 0.0, 1.0}) {
    bends.push_back({0.0, options.back_m + sigmas * options.back_sigma_m, 0.0});
  }
  return bends;
}

// Of a limb that stands so far off a usual one's curve that only part of it was met.
std::vector<Bend> many_bends(const LimbOptions& options) {
  std::vector<Bend> bends;
  for (const double lean : {-1.0, 0.0, 1.0}) {
    for (const double back : {-1.5, -0.5, 0.5, 1.5}) {
      for (const double side : {-2.5, -1.25, 0.0, 1.25, 2.5}) {
        bends.push_back({lean * options.lean_sigma_rad,
                         options.back_m + back * options.back_sigma_m,
                         side * options.side_sigma_m});
      }
    }
  }
  return bends;
}

Best best_at(const Gradients& gradients, const Place& place, double cant_rad,
             const std::vector<Bend>& bends, const LimbOptions& options) {
  Best best;
  for (const Bend& bend : bends) {
    const LimbShape shape{cant_rad, 0.0, bend.lean_rad, bend.back_m, bend.side_m};
    const Best found = best_along(strip_along(gradients, place, shape, options), options);
    if (found.total > best.total) {
      best = found;
    }
  }
  best.shape.cant_rad = cant_rad;
  return best;
}

struct Lead {
  const Best* best = nullptr;
  double second = 0.0;  // the most that a cant elsewhere reaches
};

Lead lead_of(const std::vector<Best>& by_cant) {
  constexpr double kAnother_rad = 0.12;  // 7 deg
  Lead lead;
  lead.best = &*std::max_element(by_cant.begin(), by_cant.end(),
                                 [](const Best& a, const Best& b) { return a.total < b.total; });
  lead.second = 1e-9;
  for (const Best& other : by_cant) {
    if (std::abs(other.shape.cant_rad - lead.best->shape.cant_rad) > kAnother_rad) {
      lead.second = std::max(lead.second, other.total);
    }
  }
  return lead;
}

bool stands_out(const Lead& lead, const LimbOptions& options) {
  return lead.best->total * kStation_m >= options.least_evidence_m &&
         lead.best->length_m >= options.least_length_m && lead.best->share >= options.least_share &&
         lead.best->total / lead.second >= options.least_lead;
}

// The likelier quarter of the cants, each with every bend: the second best gains by it as well as
// the best.
void look_again(const Gradients& gradients, const Place& place, std::vector<Best>& by_cant,
                const LimbOptions& options) {
  std::vector<double> totals;
  totals.reserve(by_cant.size());
  for (const Best& one : by_cant) {
    totals.push_back(one.total);
  }
  const auto least = totals.begin() + static_cast<std::ptrdiff_t>(totals.size() * 3 / 4);
  std::nth_element(totals.begin(), least, totals.end());
  const std::vector<Bend> bends = many_bends(options);
  std::vector<bool> again(by_cant.size(), false);
  const auto look_at = [&](std::size_t k) {
    if (!again[k]) {
      const Best found = best_at(gradients, place, by_cant[k].shape.cant_rad, bends, options);
      by_cant[k] = found.total > by_cant[k].total ? found : by_cant[k];
      again[k] = true;
    }
  };
  for (std::size_t k = 0; k < by_cant.size(); ++k) {
    if (by_cant[k].total >= *least) {
      look_at(k);
    }
  }
  // And on from there: with the bend of another cant the likeliest were beside the bow's own.
  constexpr std::size_t kBeside = 5;
  const auto best = static_cast<std::size_t>(lead_of(by_cant).best - by_cant.data());
  for (std::size_t k = best - std::min(best, kBeside);
       k < std::min(best + kBeside + 1, by_cant.size()); ++k) {
    look_at(k);
  }
}

}  // namespace

Place place_of(const flight::FlightFit& fit, const flight::Stroke& stroke) {
  Place place;
  place.focal_px = std::exp(fit.parameters[flight::kLogFocal]);
  place.principal_px = fit.principal_px;
  const flight::ArrowState<double> state = flight::state_of(fit, stroke.exit_s);
  place.right = state.right;
  place.down = state.down;
  place.forward = state.forward;
  const Eigen::Vector3d nock = flight::shaft_point(state, 0.0, 0.0);
  place.rest_m = nock + state.forward * (stroke.rest_forward_m - state.forward.dot(nock));
  return place;
}

LimbOptions second_look(LimbOptions options) {
  options.least_evidence_m = 0.40;
  options.least_lead = 2.0;
  return options;
}

Eigen::Vector3d limb_point(const Place& place, const LimbShape& shape, double up_m,
                           double half_length_m) {
  const double c = std::cos(shape.cant_rad);
  const double s = std::sin(shape.cant_rad);
  const double x = up_m / half_length_m;
  const double across_m = shape.across_m + 4.0 * shape.side_m * x * (1.0 - x);
  return place.rest_m + (place.right * c + place.down * s) * across_m +
         (place.right * s - place.down * c) * up_m +
         place.forward * (std::tan(shape.lean_rad) * up_m + shape.back_m * x * x);
}

std::optional<SeenLimb> find_limb(const cv::Mat& grey, const Place& place,
                                  const LimbOptions& options) {
  const double scale = std::min(1.0, options.search_focal_px / place.focal_px);
  cv::Mat small;
  if (scale < 1.0) {
    cv::resize(grey, small, {}, scale, scale, cv::INTER_AREA);
  } else {
    small = grey;
  }
  Place there = place;
  there.focal_px *= scale;
  // Pixel centres have integer coordinates.
  there.principal_px = (place.principal_px.array() + 0.5) * scale - 0.5;
  const Gradients gradients = gradients_of(small);

  std::vector<Best> by_cant;
  for (double cant = -options.widest_cant_rad; cant <= options.widest_cant_rad;
       cant += kCantStep_rad) {
    by_cant.push_back(best_at(gradients, there, cant, few_bends(options), options));
  }
  Lead lead = lead_of(by_cant);
  LimbOptions asked = options;
  if (!stands_out(lead, asked)) {
    look_again(gradients, there, by_cant, options);
    lead = lead_of(by_cant);
    asked = second_look(options);
  }
  const Best* best = lead.best;
  if (best->stations == 0) {
    return std::nullopt;
  }
  const Strip strip = strip_along(gradients, there, best->shape, options);
  std::vector<Edges> edges = edges_along(strip, *best, there, options);
  SeenLimb limb;
  limb.score = best->total / best->stations + kBreakEven;
  limb.lead = best->total / lead.second;
  constexpr std::size_t kFewestEdges = 15;
  if (!stands_out(lead, asked) || edges.size() < kFewestEdges) {
    return std::nullopt;
  }
  const LimbFit fit = fit_limb(edges, there, best->shape, options);
  limb.shape = fit.shape;
  limb.cant_sigma_rad = std::hypot(fit.cant_sigma_rad, options.own_error_rad);
  for (Edges& edge : edges) {
    edge.left_px = (edge.left_px.array() + 0.5) / scale - 0.5;
    edge.right_px = (edge.right_px.array() + 0.5) / scale - 0.5;
  }
  limb.edges = std::move(edges);
  return limb;
}

}  // namespace nocktrail::bow
