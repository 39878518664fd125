#include "nocktrail/arrow/thrust.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace nocktrail::arrow {
namespace {

struct State {
  double remaining_m;
  double speed_mps;
};

// Forward, so the sign of x'' is turned.
double acceleration(const ThrustInput& input, State at) {
  const double u = at.remaining_m / input.stroke_m;
  const double mass = input.arrow_mass_kg + input.virtual_mass_kg + input.limb_mass_kg * u * u;
  const double half_mass_change = input.limb_mass_kg * u / input.stroke_m;
  return (input.efficiency * draw_force_n(input, at.remaining_m) +
          half_mass_change * at.speed_mps * at.speed_mps) /
         mass;
}

State advance(const ThrustInput& input, State at, double step) {
  const auto slope = [&](State s) { return State{-s.speed_mps, acceleration(input, s)}; };
  const auto moved = [](State s, State by, double h) {
    return State{s.remaining_m + h * by.remaining_m, s.speed_mps + h * by.speed_mps};
  };
  const State k1 = slope(at);
  const State k2 = slope(moved(at, k1, 0.5 * step));
  const State k3 = slope(moved(at, k2, 0.5 * step));
  const State k4 = slope(moved(at, k3, step));
  return {at.remaining_m +
              step / 6.0 *
                  (k1.remaining_m + 2.0 * k2.remaining_m + 2.0 * k3.remaining_m + k4.remaining_m),
          at.speed_mps +
              step / 6.0 * (k1.speed_mps + 2.0 * k2.speed_mps + 2.0 * k3.speed_mps + k4.speed_mps)};
}

// The instant at which the draw remaining is used up.
double exit_time(const ThrustInput& input, double step) {
  State state{input.stroke_m, 0.0};
  double time = 0.0;
  while (true) {
    const State next = advance(input, state, step);
    if (next.remaining_m <= 0.0) {
      break;
    }
    state = next;
    time += step;
  }
  double low = 0.0;
  double high = step;
  for (int halving = 0; halving < 50; ++halving) {
    const double middle = 0.5 * (low + high);
    (advance(input, state, middle).remaining_m > 0.0 ? low : high) = middle;
  }
  return time + 0.5 * (low + high);
}

}  // namespace

double draw_force_n(const ThrustInput& input, double remaining_m) {
  const double u = remaining_m / input.stroke_m;
  return input.full_draw_force_n * u * (1.0 + input.early_weight * (1.0 - u) * (1.0 - u));
}

double draw_force_at_n(double rated_force_n, double rated_stroke_m, double stroke_m,
                       double early_weight) {
  // Beyond the rated draw the curve goes on straight, with the slope it has there.
  if (stroke_m > rated_stroke_m) {
    return rated_force_n * stroke_m / rated_stroke_m;
  }
  ThrustInput rated;
  rated.full_draw_force_n = rated_force_n;
  rated.stroke_m = rated_stroke_m;
  rated.early_weight = early_weight;
  return draw_force_n(rated, stroke_m);
}

ThrustHistory thrust_history(const ThrustInput& input, double step_s) {
  ThrustHistory history;
  history.exit_s = exit_time(input, step_s);
  const double wanted = std::ceil(history.exit_s / step_s);
  const auto steps = static_cast<std::size_t>(std::max(wanted, 1.0));
  history.step_s = history.exit_s / static_cast<double>(steps);
  history.travel_m.reserve(steps + 1);
  history.mid_travel_m.reserve(steps);
  history.mid_acceleration_mps2.reserve(steps);
  State state{input.stroke_m, 0.0};
  history.travel_m.push_back(0.0);
  for (std::size_t i = 0; i < steps; ++i) {
    const State middle = advance(input, state, 0.5 * history.step_s);
    history.mid_travel_m.push_back(input.stroke_m - middle.remaining_m);
    history.mid_acceleration_mps2.push_back(acceleration(input, middle));
    state = advance(input, middle, 0.5 * history.step_s);
    history.travel_m.push_back(input.stroke_m - state.remaining_m);
  }
  history.exit_speed_mps = state.speed_mps;
  return history;
}

}  // namespace nocktrail::arrow
