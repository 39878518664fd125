#include "archer.hpp"

#include <Eigen/Geometry>
#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <utility>
#include <vector>

#include "noise.hpp"
#include "rng.hpp"

namespace clipmaker {
namespace {

using Vec = Eigen::Vector3d;

enum class Stuff { skin, cloth, trousers, hair, hat, bracer };

// A rounded cone between two balls, or a single ellipsoid.
struct Lump {
  Vec a = Vec::Zero(), b = Vec::Zero();
  double ra = 0.1, rb = 0.1;
  Vec radii = Vec::Zero();  // set: ellipsoid about a
  Stuff stuff = Stuff::cloth;

  double distance(const Vec& p) const {
    if (radii.x() > 0.0) {
      const Vec q = (p - a).cwiseQuotient(radii);
      const double k = q.norm();
      const double g = q.cwiseQuotient(radii).norm();
      return g < 1e-9 ? -radii.minCoeff() : k * (k - 1.0) / g;
    }
    const Vec ab = b - a;
    const double t = std::clamp((p - a).dot(ab) / ab.squaredNorm(), 0.0, 1.0);
    return (p - a - t * ab).norm() - (ra + t * (rb - ra));
  }
  double reach() const { return radii.x() > 0.0 ? radii.maxCoeff() : std::max(ra, rb); }
};

Lump limb(const Vec& a, double ra, const Vec& b, double rb, Stuff stuff) {
  Lump l;
  l.a = a;
  l.b = b;
  l.ra = ra;
  l.rb = rb;
  l.stuff = stuff;
  return l;
}
Lump ball(const Vec& centre, const Vec& radii, Stuff stuff) {
  Lump l;
  l.a = centre;
  l.b = centre;
  l.radii = radii;
  l.stuff = stuff;
  return l;
}

using Shape = std::vector<Lump>;

struct Nearest {
  double distance = 1e9;
  Stuff stuff = Stuff::cloth;
};

Nearest nearest(const Shape& shape, const Vec& p) {
  Nearest best;
  for (const Lump& l : shape) {
    const double d = l.distance(p);
    if (d < best.distance) {
      best = {d, l.stuff};
    }
  }
  return best;
}

struct Palette {
  std::array<Colour, 6> of;
  float check = 0.0F;  // strength of a woven pattern on the cloth
  std::uint32_t seed = 1;
};

Palette make_palette(const ArcherSpec& spec, int look) {
  Rng rng = Rng::stream(spec.paint_seed, 81);
  Palette p;
  const std::array<Colour, 5> skin{Colour(0.48F, 0.29F, 0.20F), Colour(0.36F, 0.20F, 0.13F),
                                   Colour(0.22F, 0.12F, 0.07F), Colour(0.12F, 0.06F, 0.035F),
                                   Colour(0.55F, 0.36F, 0.27F)};
  p.of[0] = skin[static_cast<std::size_t>(rng.below(5))];
  const auto pick = [&rng](double saturation, double level) {
    Colour c(static_cast<float>(rng.unit()), static_cast<float>(rng.unit()),
             static_cast<float>(rng.unit()));
    const float mean = c.mean();
    c = Colour::Constant(mean) + static_cast<float>(saturation) * (c - Colour::Constant(mean));
    return Colour((c.cwiseMax(0.02F) * static_cast<float>(level)).cwiseMin(0.8F));
  };
  p.of[1] = pick(look == 1 ? 0.6 : 1.2, rng.log_uniform(0.06, 0.7));
  p.of[2] = pick(0.3, rng.log_uniform(0.05, 0.3));
  const std::array<Colour, 4> hair{Colour(0.015F, 0.011F, 0.009F), Colour(0.06F, 0.035F, 0.018F),
                                   Colour(0.22F, 0.14F, 0.06F), Colour(0.28F, 0.27F, 0.26F)};
  p.of[3] = hair[static_cast<std::size_t>(rng.below(4))];
  p.of[4] = pick(look == 1 ? 0.5 : 1.0, rng.log_uniform(0.04, 0.6));
  p.of[5] = Colour(0.07F, 0.035F, 0.015F);
  p.check = rng.chance(look == 1 ? 0.3 : 0.6) ? static_cast<float>(rng.uniform(0.2, 0.6)) : 0.0F;
  p.seed = static_cast<std::uint32_t>(rng.bits());
  return p;
}

Colour albedo_at(const Palette& palette, Stuff stuff, const Vec& p) {
  const Colour& base = palette.of[static_cast<std::size_t>(stuff)];
  const auto x = static_cast<float>(p.x());
  const auto y = static_cast<float>(p.y());
  const auto z = static_cast<float>(p.z());
  float n = 0.0F;
  switch (stuff) {
    case Stuff::hair:
      // Strands run downwards.
      n = 0.5F * value_noise3(x * 260.0F, y * 25.0F, z * 260.0F, palette.seed) +
          0.3F * value_noise3(x * 60.0F, y * 8.0F, z * 60.0F, palette.seed + 1U);
      break;
    case Stuff::skin:
      n = 0.08F * value_noise3(x * 60.0F, y * 60.0F, z * 60.0F, palette.seed);
      break;
    default: {
      n = 0.22F * value_noise3(x * 18.0F, y * 30.0F, z * 18.0F, palette.seed + 2U) +
          0.12F * value_noise3(x * 170.0F, y * 170.0F, z * 170.0F, palette.seed + 3U);
      if (stuff == Stuff::cloth && palette.check > 0.0F) {
        const bool a = std::fmod(std::abs(x + 10.0F), 0.05F) < 0.018F;
        const bool b = std::fmod(std::abs(z + y + 10.0F), 0.05F) < 0.018F;
        n -= palette.check * (static_cast<float>(a) + static_cast<float>(b)) * 0.7F;
      }
    }
  }
  return base * std::max(0.12F, 1.0F + n);
}

void add_headwear(Shape& shape, const ArcherSpec& spec, const Vec& head) {
  const double k = spec.hat_scale;
  if (spec.headwear == "hair") {
    shape.push_back(ball(head + Vec(0.0, -0.018, -0.008), Vec(0.086, 0.115, 0.105), Stuff::hair));
  } else if (spec.headwear == "cap") {
    shape.push_back(ball(head + Vec(0.0, 0.005, -0.012), Vec(0.083, 0.11, 0.10), Stuff::hair));
    shape.push_back(ball(head + Vec(0.0, -0.045, 0.0), k * Vec(0.089, 0.093, 0.108), Stuff::hat));
    shape.push_back(ball(head + Vec(0.0, -0.035, 0.11), k * Vec(0.07, 0.012, 0.08), Stuff::hat));
  } else if (spec.headwear == "hat") {
    shape.push_back(ball(head + Vec(0.0, 0.005, -0.012), Vec(0.083, 0.11, 0.10), Stuff::hair));
    shape.push_back(ball(head + Vec(0.0, -0.06, 0.0), k * Vec(0.092, 0.095, 0.108), Stuff::hat));
    shape.push_back(ball(head + Vec(0.0, -0.055, 0.0), k * Vec(0.15, 0.014, 0.165), Stuff::hat));
  } else {
    shape.push_back(ball(head + Vec(0.0, 0.0, -0.015), k * Vec(0.105, 0.135, 0.125), Stuff::cloth));
    shape.push_back(
        limb(head + Vec(0, 0.04, -0.02), 0.10, head + Vec(-0.02, 0.2, -0.05), 0.11, Stuff::cloth));
  }
}

}  // namespace

double blur_disc_px(const Camera& camera, double distance, double defocus) {
  constexpr double kAperture_m = 0.0024;
  return defocus * camera.focal_px() * kAperture_m / std::max(distance, 0.15);
}

// Carves the parts of the archer by sphere tracing, once per clip.
class Sculptor {
 public:
  Sculptor(const Camera& camera, const Light& light, const Palette& palette, double defocus)
      : camera_(camera), light_(light), palette_(palette), defocus_(defocus) {}

  Archer::Part carve(const Shape& shape, const Vec& anchor) const {
    Archer::Part part;
    part.anchor_m = anchor;
    const CameraPose& pose = camera_.mean_pose();
    const double distance =
        std::max((pose.camera_from_range * (anchor - pose.position_m)).z(), 0.2);
    const double sigma = 0.28 * blur_disc_px(camera_, distance, defocus_);
    part.scale = sigma > 0.7 ? 2.0 : 1.0;
    part.box = extent(shape, static_cast<int>(4.0 * sigma) + 8);
    const int w = (static_cast<int>(part.box.width() / part.scale) + 2) & ~1;
    const int h = (static_cast<int>(part.box.height() / part.scale) + 2) & ~1;
    if (part.box.empty() || w < 8 || h < 8) {
      part.box = {};
      return part;
    }
    cv::Mat pixels(h, w, CV_32FC4, cv::Scalar::all(0.0));
    trace(shape, pose, part, pixels);
    const double blur = sigma / part.scale;
    if (blur > 0.2) {
      cv::GaussianBlur(pixels, pixels, {}, blur);
    }
    to_sprite(pixels, part.sprite);
    return part;
  }

 private:
  Box extent(const Shape& shape, int spare) const {
    const CameraPose& pose = camera_.mean_pose();
    double left = 1e9;
    double right = -1e9;
    double top = 1e9;
    double bottom = -1e9;
    for (const Lump& l : shape) {
      for (const Vec& end : {l.a, l.b}) {
        const Vec c = pose.camera_from_range * (end - pose.position_m);
        if (c.z() < 0.12) {
          continue;
        }
        const double r = 1.3 * camera_.focal_px() * l.reach() / std::max(c.z() - l.reach(), 0.1);
        const double x = camera_.centre_x() + camera_.focal_px() * c.x() / c.z();
        const double y = camera_.centre_y() + camera_.focal_px() * c.y() / c.z();
        left = std::min(left, x - r);
        right = std::max(right, x + r);
        top = std::min(top, y - r);
        bottom = std::max(bottom, y + r);
      }
    }
    if (left > right) {
      return {};
    }
    const auto cut = [](double v) { return static_cast<int>(std::clamp(v, -1e5, 1e5)); };
    // Some of it beyond the picture's edge, which shake or a swing may bring in.
    return Box{cut(left) - spare, cut(top) - spare, cut(right) + spare, cut(bottom) + spare}
        .clipped({-260, -260, camera_.width() + 260, camera_.height() + 420});
  }

  void trace(const Shape& shape, const CameraPose& pose, const Archer::Part& part,
             cv::Mat& pixels) const {
    std::vector<std::pair<Vec, double>> balls;  // about each lump: centre and radius
    for (const Lump& l : shape) {
      balls.emplace_back(0.5 * (l.a + l.b), 0.5 * (l.b - l.a).norm() + l.reach());
    }
    Shape near;
    for (int row = 0; row < pixels.rows; ++row) {
      auto* out = pixels.ptr<cv::Vec4f>(row);
      for (int col = 0; col < pixels.cols; ++col) {
        const double px = part.box.x0 + col * part.scale;
        const double py = part.box.y0 + row * part.scale;
        const Vec ray = camera_.ray(pose, px, py).normalized();
        const double pixel = part.scale / camera_.focal_px();
        // Only lumps whose bounding ball the ray comes near can be met.
        near.clear();
        double t = 1e9;
        double leave = 0.0;
        for (std::size_t i = 0; i < shape.size(); ++i) {
          const Vec to = balls[i].first - pose.position_m;
          const double along = to.dot(ray);
          const double reach = balls[i].second + 2.0 * pixel * to.norm();
          const double miss = to.squaredNorm() - along * along;
          if (along > -reach && miss < reach * reach) {
            near.push_back(shape[i]);
            t = std::min(t, along - reach);
            leave = std::max(leave, along + reach);
          }
        }
        if (near.empty()) {
          continue;
        }
        t = std::max(t, 0.15);
        double closest = 1e9;  // distance to the surface in pixels, nearest along the ray
        bool hit = false;
        Stuff stuff = Stuff::cloth;
        for (int step = 0; step < 64 && t < leave; ++step) {
          const Nearest n = nearest(near, pose.position_m + t * ray);
          if (n.distance / (t * pixel) < closest) {
            closest = n.distance / (t * pixel);
            stuff = n.stuff;
          }
          if (n.distance < 0.3 * t * pixel) {
            hit = true;
            break;
          }
          t += 0.92 * n.distance;
        }
        const double alpha = hit ? 1.0 : std::clamp(1.0 - closest, 0.0, 1.0);
        if (alpha <= 0.0) {
          continue;
        }
        const Vec p = pose.position_m + t * ray;
        const Colour c = shade(shape, p, ray, stuff) * static_cast<float>(alpha);
        out[col] = {c.x(), c.y(), c.z(), static_cast<float>(alpha)};
      }
    }
  }

  Colour shade(const Shape& shape, const Vec& p, const Vec& ray, Stuff stuff) const {
    constexpr double e = 0.003;
    const double d = nearest(shape, p).distance;
    Vec normal(nearest(shape, p + Vec(e, 0, 0)).distance - d,
               nearest(shape, p + Vec(0, e, 0)).distance - d,
               nearest(shape, p + Vec(0, 0, e)).distance - d);
    if (normal.norm() < 1e-12) {
      normal = -ray;
    }
    normal.normalize();
    if (stuff == Stuff::cloth || stuff == Stuff::trousers) {
      // Folds tilt the surface.
      const auto q = [&](double s, std::uint32_t k) {
        return 0.22 * static_cast<double>(value_noise3(
                          static_cast<float>(p.x() * s), static_cast<float>(p.y() * s * 0.6),
                          static_cast<float>(p.z() * s), palette_.seed + k));
      };
      normal = (normal + Vec(q(22, 7), q(26, 8), q(22, 9))).normalized();
    }
    // Creases between lumps get less of the sky.
    const double open = std::clamp(nearest(shape, p + 0.05 * normal).distance / 0.05, 0.25, 1.0);
    return light_.on(albedo_at(palette_, stuff, p), normal) * static_cast<float>(open);
  }

  static void to_sprite(const cv::Mat& pixels, Sprite& sprite) {
    LinearImage image;
    image.resize(pixels.cols, pixels.rows, Colour::Zero());
    sprite.opacity.assign(image.pixels.size(), 0);
    for (int y = 0; y < pixels.rows; ++y) {
      const auto* row = pixels.ptr<cv::Vec4f>(y);
      for (int x = 0; x < pixels.cols; ++x) {
        const float a = row[x][3];
        if (a > 1e-3F) {
          image.at(x, y) = Colour(row[x][0], row[x][1], row[x][2]) / a;
        }
        // The outermost pixels stay clear: the warp clamps to them.
        const bool edge = x < 2 || y < 2 || x >= pixels.cols - 3 || y >= pixels.rows - 3;
        sprite.opacity[static_cast<std::size_t>(y) * static_cast<std::size_t>(pixels.cols) +
                       static_cast<std::size_t>(x)] =
            edge ? std::uint16_t{0}
                 : static_cast<std::uint16_t>(std::clamp(a, 0.0F, 1.0F) * 65280.0F);
      }
    }
    sprite.colours = to_picture(image);
    const int w = pixels.cols;
    sprite.half_opacity.resize(static_cast<std::size_t>(w / 2) *
                               static_cast<std::size_t>(pixels.rows / 2));
    for (int y = 0; y < pixels.rows / 2; ++y) {
      for (int x = 0; x < w / 2; ++x) {
        const auto at = [&](int i, int j) {
          return static_cast<std::uint32_t>(
              sprite.opacity[static_cast<std::size_t>(2 * y + j) * static_cast<std::size_t>(w) +
                             static_cast<std::size_t>(2 * x + i)]);
        };
        sprite.half_opacity[static_cast<std::size_t>(y) * static_cast<std::size_t>(w / 2) +
                            static_cast<std::size_t>(x)] =
            static_cast<std::uint16_t>((at(0, 0) + at(1, 0) + at(0, 1) + at(1, 1)) / 4U);
      }
    }
  }

  const Camera& camera_;
  const Light& light_;
  const Palette& palette_;
  double defocus_;
};

Archer::Archer(const ClipSpec& spec, const Camera& camera, const Light& light, double nock_draw_z)
    : camera_(&camera) {
  if (!spec.draw_archer) {
    return;
  }
  const ArcherSpec& archer = spec.archer;
  const Palette palette = make_palette(archer, spec.range.look);
  // Laid out for a right-handed archer whose nock at full draw is at Z = -0.70.
  const double side = archer.hand == "left" ? -1.0 : 1.0;
  const double k = archer.build;
  const double dz = nock_draw_z + 0.70;
  const auto at = [&](double x, double y, double z) {
    return Vec(side * k * x, k * y + archer.head_drop_m, -0.70 + k * (z + 0.70) + dz);
  };
  const Vec head = at(-0.035, -0.075, -0.80);

  Shape body;
  body.push_back(ball(head, k * Vec(0.076, 0.115, 0.098), Stuff::skin));
  for (const double ear : {-1.0, 1.0}) {
    body.push_back(
        ball(head + Vec(ear * 0.078, 0.01, 0.0), k * Vec(0.014, 0.032, 0.02), Stuff::skin));
  }
  add_headwear(body, archer, head);
  const Vec front_shoulder = at(-0.03, 0.15, -0.64);
  const Vec rear_shoulder = at(-0.05, 0.13, -1.02);
  body.push_back(
      limb(head + Vec(0, 0.08, -0.02), 0.06 * k, at(-0.06, 0.13, -0.84), 0.07 * k, Stuff::skin));
  body.push_back(limb(front_shoulder, 0.075 * k, rear_shoulder, 0.085 * k, Stuff::cloth));
  body.push_back(
      limb(at(-0.07, 0.22, -0.83), 0.15 * k, at(-0.05, 0.62, -0.84), 0.14 * k, Stuff::cloth));
  body.push_back(
      limb(at(-0.05, 0.62, -0.84), 0.135 * k, at(-0.04, 0.85, -0.84), 0.15 * k, Stuff::trousers));
  for (const double foot : {-0.22, 0.22}) {
    body.push_back(limb(at(-0.04, 0.85, -0.84 + 0.3 * foot), 0.10 * k,
                        at(-0.03, 1.45, -0.84 + foot), 0.06 * k, Stuff::trousers));
  }

  // The bow hand holds the grip below the rest whatever the build.
  const Vec grip(side * 0.012, 0.075, -0.005);
  Shape bow_arm;
  const Vec elbow = 0.5 * (front_shoulder + grip) + Vec(-side * 0.03, 0.015, 0.0);
  Rng rng = Rng::stream(archer.paint_seed, 82);
  const bool bare_arm = rng.chance(0.5);
  bow_arm.push_back(
      limb(front_shoulder, 0.06 * k, elbow, 0.047 * k, bare_arm ? Stuff::skin : Stuff::cloth));
  bow_arm.push_back(limb(elbow, 0.043 * k, grip + Vec(0, 0.01, -0.07), 0.03 * k,
                         bare_arm ? Stuff::skin : Stuff::cloth));
  const Vec forearm = elbow + 0.35 * (grip - elbow);
  bow_arm.push_back(
      limb(forearm, 0.046 * k, elbow + 0.7 * (grip - elbow), 0.040 * k, Stuff::bracer));
  if (archer.sleeve) {
    bow_arm.push_back(
        limb(elbow, 0.060 * k, grip + Vec(0.0, 0.03, -0.09), 0.075 * k, Stuff::cloth));
  }
  bow_arm.push_back(ball(grip, Vec(0.036, 0.045, 0.045), Stuff::skin));
  for (int finger = 0; finger < 4; ++finger) {
    const Vec knuckle = grip + Vec(-side * 0.03, -0.025 + 0.019 * finger, 0.012);
    bow_arm.push_back(ball(knuckle, Vec(0.012, 0.010, 0.022), Stuff::skin));
  }

  Shape string_arm;
  const Vec draw_elbow = at(0.14, 0.03, -1.06);
  const Vec wrist = Vec(side * 0.035, 0.015, nock_draw_z - 0.09);
  string_arm.push_back(limb(rear_shoulder, 0.065 * k, draw_elbow, 0.05 * k, Stuff::cloth));
  string_arm.push_back(
      limb(draw_elbow, 0.047 * k, wrist, 0.03 * k, bare_arm ? Stuff::skin : Stuff::cloth));
  string_arm.push_back(
      ball(wrist + Vec(-side * 0.008, 0.0, 0.045), Vec(0.022, 0.045, 0.048), Stuff::skin));
  for (int finger = 0; finger < 3; ++finger) {
    string_arm.push_back(ball(Vec(side * 0.008, -0.014 + 0.019 * finger, nock_draw_z + 0.002),
                              Vec(0.016, 0.009, 0.014), Stuff::skin));
  }

  const Sculptor sculptor(camera, light, palette, spec.sensor.defocus);
  body_ = sculptor.carve(body, {0.0, 0.0, nock_draw_z - 0.12});
  bow_arm_ = sculptor.carve(bow_arm, {0.0, 0.0, -0.15});
  string_arm_ = sculptor.carve(string_arm, {0.0, 0.0, nock_draw_z - 0.15});
}

void Archer::paint_part(const Part& part, const View& view, const Eigen::Vector3d& shift,
                        Picture& out) const {
  if (part.box.empty()) {
    return;
  }
  const Camera& camera = *camera_;
  const CameraPose& mean = camera.mean_pose();
  const Vec normal = mean.camera_from_range.row(2);
  // Point of the sprite's plane (moved by `by`) that a ray from `from` meets; nothing behind.
  const auto on_plane = [&](const Vec& from, const Vec& ray, const Vec& by) -> std::optional<Vec> {
    const double facing = normal.dot(ray);
    const double ahead = normal.dot(part.anchor_m + by - from);
    if (facing < 0.03 * ray.norm() || ahead < 0.05) {
      return std::nullopt;
    }
    return Vec(from + ray * (ahead / facing));
  };
  // Where the corners of the sprite go says which pixels to visit.
  const CameraPose now = view.pose(view.time_s());
  std::vector<Eigen::Vector2d> corners;
  for (const double x : {static_cast<double>(part.box.x0), static_cast<double>(part.box.x1)}) {
    for (const double y : {static_cast<double>(part.box.y0), static_cast<double>(part.box.y1)}) {
      const auto p = on_plane(mean.position_m, camera.ray(mean, x, y), Vec::Zero());
      const auto px = p ? camera.project(now, *p + shift) : std::nullopt;
      corners.push_back(px.value_or(Eigen::Vector2d(x, y)));
    }
  }
  Box where = box_of(corners);
  where = {where.x0 - 12, where.y0 - 12, where.x1 + 12, where.y1 + 12};
  const Eigen::Vector2d outside(-10.0, -10.0);
  warp_over(
      part.sprite,
      [&](double x, double y) -> Eigen::Vector2d {
        const CameraPose pose = view.pose(view.time_s() + camera.row_delay(x, y));
        const auto p = on_plane(pose.position_m, camera.ray(pose, x, y), shift);
        if (!p) {
          return outside;
        }
        const auto px = camera.project(mean, *p - shift);
        return px ? Eigen::Vector2d((px->x() - part.box.x0) / part.scale,
                                    (px->y() - part.box.y0) / part.scale)
                  : outside;
      },
      where, out);
}

void Archer::paint_bow_arm(const View& view, const Stance& stance, Picture& out) const {
  paint_part(bow_arm_, view, stance.bow_hand_m, out);
}
void Archer::paint_body(const View& view, const Stance& stance, Picture& out) const {
  paint_part(body_, view, stance.body_m, out);
}
void Archer::paint_string_arm(const View& view, const Stance& stance, Picture& out) const {
  paint_part(string_arm_, view, stance.string_hand_m, out);
}

}  // namespace clipmaker
