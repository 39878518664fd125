#include "render.hpp"

#include <algorithm>
#include <cmath>

#include "archer.hpp"
#include "arrow_draw.hpp"
#include "bow_draw.hpp"
#include "camera.hpp"
#include "light.hpp"
#include "range.hpp"
#include "sensor.hpp"
#include "view.hpp"

namespace clipmaker {
namespace {

// The next arrow is on the string this long before its loose.
constexpr double kReady_s = 0.6;

std::vector<ArrowFlight> make_flights(const ClipSpec& spec) {
  std::vector<ArrowFlight> flights;
  for (const ShotSpec& shot : spec.shots) {
    flights.emplace_back(spec.arrow, shot, spec.archer.brace_m,
                         spec.range.butt == "none" ? 0.0 : spec.range.butt_m);
  }
  return flights;
}

Eigen::Vector3d butt_centre(const ClipSpec& spec, const std::vector<ArrowFlight>& flights) {
  Eigen::Vector3d centre(0.0, 0.3, spec.range.butt_m);
  if (!flights.empty()) {
    centre = flights.front().at_z(spec.range.butt_m);
  }
  // Nobody hits the middle every time: off by up to a hand's breadth or two.
  centre.x() += 0.12 * std::sin(static_cast<double>(spec.range.texture_seed % 1000U));
  centre.y() += 0.12 * std::cos(1.7 * static_cast<double>(spec.range.texture_seed % 1000U));
  centre.z() = spec.range.butt_m;
  return centre;
}

}  // namespace

// The bow that stands about: of another make, the archer's own in nothing.
ClipSpec with_second_bow(ClipSpec spec) {
  spec.archer.cant_deg = spec.archer.second_bow_cant_deg;
  spec.archer.paint_seed += 7;
  spec.archer.bow_length_m = 3.3 - spec.archer.bow_length_m;
  spec.archer.quiver = spec.archer.stringer = false;
  return spec;
}

struct Renderer::State {
  explicit State(const ClipSpec& s)
      : spec(s),
        world_camera(s.camera, s.picture, s.seed),
        camera(s.camera, s.picture, s.seed, s.stage),
        light(Light::of(s.range, s.sensor.brightness)),
        flights(make_flights(s)),
        panorama(s, world_camera, light, butt_centre(s, flights),
                 0.35 + 0.9 * s.camera.shake_deg_per_s),
        painter(s.arrow, light),
        archer(s, camera, light,
               s.shots.empty() ? -0.7 : s.shots.front().point_past_rest_m - s.arrow.length_m),
        bow(s, light),
        second_bow(with_second_bow(s), light),
        sensor(s.sensor, s.picture, s.seed) {
    picture.resize(camera.width(), camera.height());
  }

  // Mean over the exposure of what `paint(layer, t)` draws within `box`.
  template <typename Paint>
  void averaged(Layer& sum, const Box& box, double t, int samples, Paint paint) {
    sum.reset(box);
    for (int i = 0; i < samples; ++i) {
      const double share = (i + 0.5) / samples - 0.5;
      const double when = t + share * spec.camera.exposure_s;
      if (samples == 1) {
        paint(sum, when);
        return;
      }
      instant.reset(box);
      paint(instant, when);
      sum.add(instant, 1.0F / static_cast<float>(samples));
    }
  }

  // Samples for half a pixel of motion each.
  int samples_for(const View& view, const ArrowFlight& flight, double t) const {
    double far = 0.0;
    for (const double s : {0.0, spec.arrow.length_m}) {
      const auto at = [&](double when) {
        return view.rolling([&](double w) { return flight.point(flight.pose(w), s); }, when);
      };
      const auto a = at(t - 0.5 * spec.camera.exposure_s);
      const auto b = at(t + 0.5 * spec.camera.exposure_s);
      if (a && b) {
        far = std::max(far, (a->px - b->px).norm());
      }
    }
    return far < 0.02 ? 1 : std::clamp(static_cast<int>(std::ceil(2.0 * far)), 4, 24);
  }

  static Box together(const Box& a, const Box& b) {
    if (a.empty()) {
      return b;
    }
    if (b.empty()) {
      return a;
    }
    return {std::min(a.x0, b.x0), std::min(a.y0, b.y0), std::max(a.x1, b.x1), std::max(a.y1, b.y1)};
  }

  void paint_arrow(const View& view, const ArrowFlight& flight, bool beyond_bow) {
    const double t = view.time_s();
    const double half = 0.5 * (spec.camera.exposure_s + spec.camera.readout_s);
    const double length = spec.arrow.length_m;
    const ArrowPose pose = flight.pose(t);
    const double cut = ArrowPainter::crossing(flight, pose, 0.0);
    if (beyond_bow ? cut >= length + 0.3 : cut <= -0.3) {
      return;
    }
    const Box box =
        together(together(painter.bounds(view, flight, t - half), painter.bounds(view, flight, t)),
                 painter.bounds(view, flight, t + half));
    if (box.empty()) {
      return;
    }
    const Box roomy = Box{box.x0 - 6, box.y0 - 6, box.x1 + 6, box.y1 + 6}.clipped(
        {0, 0, camera.width(), camera.height()});
    averaged(layer, roomy, t, samples_for(view, flight, t), [&](Layer& to, double when) {
      const ArrowPose now = flight.pose(when);
      const double at_bow = ArrowPainter::crossing(flight, now, 0.0);
      // What has gone into the butt is not seen.
      const double face =
          spec.range.butt == "none" ? 1e9 : ArrowPainter::crossing(flight, now, spec.range.butt_m);
      if (beyond_bow) {
        painter.paint(to, view, flight, when, at_bow > -spec.arrow.nock_ears_m ? at_bow : -1.0,
                      std::min(length, face));
      } else if (at_bow > -spec.arrow.nock_ears_m) {
        painter.paint(to, view, flight, when, -1.0, std::min(length, at_bow));
      }
    });
    const double distance = (pose.centre_m - camera.mean_pose().position_m).norm();
    layer.blur(0.28 * blur_disc_px(camera, distance, spec.sensor.defocus));
    composite(picture, layer);
  }

  void paint_shadow(const View& view, const ArrowFlight& flight) {
    if (!spec.range.sun) {
      return;
    }
    const double t = view.time_s();
    const double half = 0.5 * (spec.camera.exposure_s + spec.camera.readout_s);
    const double ground = spec.range.ground_below_m;
    const Box box = together(painter.shadow_bounds(view, flight, t - half, ground),
                             painter.shadow_bounds(view, flight, t + half, ground));
    if (box.empty() || box.width() * box.height() > 400000) {
      return;
    }
    averaged(layer, box, t, 6,
             [&](Layer& to, double when) { painter.paint_shadow(to, view, flight, when, ground); });
    darken(picture, layer, 0.4F);
  }

  // Where hands and body are: still but for breath and tremor until the loose, then thrown apart.
  Stance stance_at(const ArrowFlight& flight, double t) const {
    Stance s;
    const double tremor = 0.0006 * std::sin(8.1 * t) + 0.0004 * std::sin(27.0 * t + 1.0);
    s.body_m = {0.0015 * std::sin(1.3 * t), 0.001 * std::sin(2.2 * t), 0.0};
    s.bow_hand_m = s.string_hand_m = s.body_m + Eigen::Vector3d(tremor, 0.7 * tremor, 0.0);
    const double side = spec.archer.hand == "left" ? -1.0 : 1.0;
    const double since = t - flight.loose_s();
    if (spec.walking) {
      const double across = -1.3 + 2.6 * t / spec.duration_s;
      const double step = 2.0 * 3.14159 * 1.8 * t;
      s.body_m = {across, 0.03 * std::sin(2.0 * step), 0.0};
      s.bow_hand_m = s.body_m + Eigen::Vector3d(0.1 * std::sin(step), 0.1 * std::cos(step), 0.0);
      s.string_hand_m = s.body_m - Eigen::Vector3d(0.1 * std::sin(step), 0.1 * std::cos(step), 0.0);
      return s;
    }
    if (since > 0.0) {
      const double back = 1.0 - std::exp(-since / 0.05);
      s.string_hand_m += back * back * Eigen::Vector3d(side * 0.06, 0.015, -0.13);
      const double after = std::max(0.0, t - flight.exit_s());
      const double jump = (1.0 - std::exp(-after / 0.03));
      const double ring = std::exp(-after / 0.1) * std::sin(2.0 * 3.14159 * 7.0 * after);
      s.bow_hand_m += jump * Eigen::Vector3d(-side * 0.012, 0.018, 0.03) +
                      ring * Eigen::Vector3d(-side * 0.012, 0.012, 0.006);
      s.body_m += jump * Eigen::Vector3d(0.003, 0.002, -0.004);
    } else {
      // Drawing: the string hand goes with the nock.
      const Eigen::Vector3d nock = flight.rigid_point(flight.pose(t), 0.0);
      const Eigen::Vector3d drawn = flight.rigid_point(flight.pose(flight.loose_s() - 1e-9), 0.0);
      s.string_hand_m += nock - drawn;
    }
    return s;
  }

  // Between two shots the bow goes down and comes up again with the next arrow on the string.
  Eigen::Vector3d lowered(double t) const {
    double down = 0.0;
    const auto ramp = [](double x) {
      const double c = std::clamp(x, 0.0, 1.0);
      return c * c * (3.0 - 2.0 * c);
    };
    for (std::size_t i = 1; i < flights.size(); ++i) {
      const double to_go = flights[i].loose_s() - t;
      down += ramp((1.0 - to_go) / 0.3) * (1.0 - ramp((0.5 - to_go) / 0.3));
    }
    return {0.0, 0.75 * down, 0.0};
  }

  void paint_bow(const View& view, const ArrowFlight& flight) {
    const double t = view.time_s();
    const double since = t - flight.loose_s();
    const bool moving = since > -0.002 && since < 0.3;
    const Box all{0, 0, camera.width(), camera.height()};
    averaged_lens(all, view, moving ? 10 : 5, [&](Layer& to, const View& eye, double when) {
      bow.paint_bow(to, eye, bow.state(flight, when, stance_at(flight, when).bow_hand_m), when);
    });
    composite(picture, layer);
  }

  void paint_second_bow(const View& view) {
    const ArcherSpec& archer_spec = spec.archer;
    if (archer_spec.second_bow_x_m == 0.0) {
      return;
    }
    const BowState state =
        second_bow.standing({archer_spec.second_bow_x_m, 0.45, archer_spec.second_bow_z_m});
    const Box all{0, 0, camera.width(), camera.height()};
    averaged_lens(all, view, 3, [&](Layer& to, const View& eye, double when) {
      second_bow.paint_bow(to, eye, state, when);
      second_bow.paint_string(to, eye, state, when);
    });
    composite(picture, layer);
  }

  void paint_string(const View& view, const ArrowFlight& flight) {
    const double t = view.time_s();
    const double since = t - flight.loose_s();
    const bool moving = since > -0.002 && since < 0.3;
    const Box all{0, 0, camera.width(), camera.height()};
    averaged_lens(all, view, moving ? 14 : 5, [&](Layer& to, const View& eye, double when) {
      bow.paint_string(to, eye, bow.state(flight, when, stance_at(flight, when).bow_hand_m), when);
    });
    composite(picture, layer);
  }

  // Mean over exposure and lens together: each sample looks from another spot of the aperture, so
  // that what is near is out of focus.
  template <typename Paint>
  void averaged_lens(const Box& box, const View& view, int samples, Paint paint) {
    layer.reset(box);
    const double radius = 0.5 * blur_disc_px(camera, 1.0, spec.sensor.defocus) / camera.focal_px();
    for (int i = 0; i < samples; ++i) {
      const double share = (i + 0.5) / samples - 0.5;
      const double when = view.time_s() + share * spec.camera.exposure_s;
      // Sunflower spread over the disc.
      const double r = radius * std::sqrt((i + 0.5) / samples);
      const double a = 2.399963 * i;
      const View eye = view.from_beside({r * std::cos(a), r * std::sin(a), 0.0});
      instant.reset(box);
      paint(instant, eye, when);
      layer.add(instant, 1.0F / static_cast<float>(samples));
    }
  }

  ClipSpec spec;
  Camera world_camera;
  Camera camera;  // in the frame of the shot
  Light light;
  std::vector<ArrowFlight> flights;
  Panorama panorama;
  ArrowPainter painter;
  Archer archer;
  Bow bow;
  Bow second_bow;
  Sensor sensor;
  Picture picture;
  StoredFrame stored;
  Layer layer, instant;
};

Renderer::Renderer(const ClipSpec& spec) : state_(std::make_unique<State>(spec)) {}
Renderer::~Renderer() = default;

int Renderer::frames() const {
  return std::max(
      1, static_cast<int>(std::lround(state_->spec.duration_s * state_->spec.picture.fps)));
}
const Camera& Renderer::camera() const {
  return state_->camera;
}
const std::vector<ArrowFlight>& Renderer::flights() const {
  return state_->flights;
}

const Picture& Renderer::expose(int index) {
  State& s = *state_;
  const double t = index / s.spec.picture.fps;
  s.panorama.cut(View(s.world_camera, t), s.picture);
  if (s.flights.empty()) {
    return s.picture;
  }
  const View view(s.camera, t);
  std::size_t active = 0;
  for (std::size_t i = 1; i < s.flights.size(); ++i) {
    if (t >= s.flights[i].loose_s() - kReady_s) {
      active = i;
    }
  }
  const ArrowFlight& flight = s.flights[active];
  const Stance stance = s.stance_at(flight, t);
  const View at_hand = view.with_moved(s.lowered(t));
  // Seen from the front the archer stands behind the bow.
  const bool from_front = std::abs(s.spec.stage.yaw_deg) > 120.0;
  const auto paint_archer = [&] {
    if (s.spec.draw_archer) {
      s.archer.paint_body(view, stance, s.picture);
      s.archer.paint_string_arm(at_hand, stance, s.picture);
    }
  };
  s.paint_second_bow(view);
  // From far to near: arrow beyond the bow, bow, bow arm, string and arrow this side of it, body.
  if (from_front) {
    paint_archer();
  }
  if (s.spec.draw_arrow) {
    for (std::size_t i = 0; i <= active; ++i) {
      s.paint_shadow(view, s.flights[i]);
      s.paint_arrow(s.flights[i].loose_s() > t ? at_hand : view, s.flights[i], true);
    }
  }
  if (s.spec.draw_archer && s.spec.draw_bow) {
    s.paint_bow(at_hand, flight);
  }
  if (s.spec.draw_archer) {
    s.archer.paint_bow_arm(at_hand, stance, s.picture);
  }
  if (s.spec.draw_archer && s.spec.draw_bow) {
    s.paint_string(at_hand, flight);
  }
  if (s.spec.draw_arrow) {
    s.paint_arrow(at_hand, flight, false);
  }
  if (!from_front) {
    paint_archer();
  }
  return s.picture;
}

const StoredFrame& Renderer::stored(int index) {
  State& s = *state_;
  s.sensor.store(expose(index), s.stored);
  return s.stored;
}

}  // namespace clipmaker
