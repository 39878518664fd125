#include "range.hpp"

#include <Eigen/Geometry>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "noise.hpp"
#include "rng.hpp"

namespace clipmaker {
namespace {

constexpr double kRad = std::numbers::pi / 180.0;
// Panorama pixels per display pixel: enough that the second sampling does not soften the picture.
constexpr double kOversize = 1.2;
constexpr int kLeafyPatch = 32;

struct GroundLook {
  Colour dark, bright;
  float coarse_m;  // size of the largest patches
  float gain;      // strength of each finer octave
  float contrast;
  float stripe;  // strength of boards or mats
};

GroundLook ground_look(const std::string& kind) {
  if (kind == "dirt") {
    return {{0.10F, 0.065F, 0.035F}, {0.27F, 0.19F, 0.12F}, 1.3F, 0.72F, 0.65F, 0.0F};
  }
  if (kind == "floor") {
    return {{0.16F, 0.11F, 0.07F}, {0.30F, 0.22F, 0.14F}, 0.8F, 0.55F, 0.35F, 0.25F};
  }
  if (kind == "gravel") {
    return {{0.09F, 0.09F, 0.09F}, {0.36F, 0.35F, 0.33F}, 0.25F, 0.95F, 0.75F, 0.0F};
  }
  if (kind == "snow") {
    return {{0.50F, 0.55F, 0.62F}, {0.80F, 0.82F, 0.85F}, 1.0F, 0.55F, 0.6F, 0.0F};
  }
  if (kind == "mat") {
    return {{0.02F, 0.07F, 0.06F}, {0.06F, 0.14F, 0.12F}, 0.5F, 0.8F, 0.5F, 0.5F};
  }
  return {{0.035F, 0.075F, 0.015F}, {0.17F, 0.26F, 0.07F}, 0.9F, 0.88F, 0.62F, 0.0F};  // grass
}

}  // namespace

Eigen::Vector2d Canvas::pixel_of(const Eigen::Vector3d& p) const {
  const CameraPose& pose = camera->mean_pose();
  const Eigen::Vector3d c = pose.camera_from_range * (p - pose.position_m);
  const double z = std::max(c.z(), 0.05);
  return {cx + f * c.x() / z, cy + f * c.y() / z};
}

Eigen::Vector3d Canvas::ray(int x, int y) const {
  return camera->mean_pose().camera_from_range.transpose() *
         Eigen::Vector3d((x - cx) / f, (y - cy) / f, 1.0);
}

void Canvas::fill(std::span<const Eigen::Vector3d> polygon, const Colour& colour, float opacity) {
  std::vector<Eigen::Vector2d> px;
  px.reserve(polygon.size());
  for (const Eigen::Vector3d& p : polygon) {
    px.push_back(pixel_of(p));
  }
  image.fill(px, colour, opacity);
}

void paint_ground(Canvas& canvas, const RangeSpec& range) {
  const GroundLook look = ground_look(range.ground);
  const auto seed = static_cast<std::uint32_t>(range.texture_seed * 7919U);
  const Eigen::Vector3d eye = canvas.camera->mean_pose().position_m;
  const double drop = range.ground_below_m - eye.y();
  const Colour lit = canvas.light.on(Colour::Ones(), -Eigen::Vector3d::UnitY());
  for (int y = 0; y < canvas.image.height; ++y) {
    for (int x = 0; x < canvas.image.width; ++x) {
      const Eigen::Vector3d ray = canvas.ray(x, y);
      if (ray.y() <= 0.0) {
        continue;
      }
      const double k = drop / ray.y();
      const double z = eye.z() + k * ray.z();
      const double gx = eye.x() + k * ray.x();
      // Size of a pixel on the ground along the line of sight, the longer side.
      const double distance = k * ray.norm();
      const double along = distance / canvas.f * distance / drop;
      const auto scale = 1.0F / look.coarse_m;
      const auto footprint = static_cast<float>(0.35 * along + 0.65 * distance / canvas.f) * scale;
      float n = fractal_noise(static_cast<float>(gx) * scale, static_cast<float>(z) * scale, 8,
                              look.gain, footprint, seed);
      n = 0.5F + 0.5F * look.contrast * n;
      if (look.stripe > 0.0F) {
        const double board = gx / 0.18;
        const double edge = std::abs(board - std::round(board)) * 0.18;
        const double soft = std::max(distance / canvas.f, 0.004);
        n -= look.stripe * static_cast<float>(std::exp(-edge * edge / (soft * soft)) *
                                              std::min(1.0, 0.004 / soft));
        n += 0.25F * look.stripe *
             value_noise(static_cast<float>(std::floor(board + 0.5)), 0.5F, seed + 5U);
      }
      n = std::clamp(n, 0.0F, 1.3F);
      canvas.image.at(x, y) = (look.dark + n * (look.bright - look.dark)).cwiseProduct(lit);
    }
  }
  if (range.ground == "grass") {
    // Blades, largest nearby: thin triangles leaning at random.
    Rng rng = Rng::stream(range.texture_seed, 21);
    for (int i = 0; i < 26000; ++i) {
      const double z = -1.0 + 1.5 * std::exp(rng.uniform(0.0, 3.2));
      const double x = rng.uniform(-0.75, 0.75) * (z + 3.0);
      const double tall = rng.uniform(0.02, 0.07);
      const double lean = rng.normal() * 0.6 * tall;
      const double wide = rng.uniform(0.002, 0.004);
      const Eigen::Vector3d foot(x, range.ground_below_m, z);
      const std::array<Eigen::Vector3d, 3> blade{
          foot - Eigen::Vector3d(wide, 0, 0), foot + Eigen::Vector3d(wide, 0, 0),
          foot + Eigen::Vector3d(lean, -tall, rng.normal() * 0.01)};
      const auto tone = static_cast<float>(rng.uniform(0.2, 1.2));
      const Colour colour = (look.dark + tone * (look.bright - look.dark)).cwiseProduct(lit);
      canvas.fill(blade, colour, 0.8F);
    }
  }
}

void paint_butt(Canvas& canvas, const ClipSpec& spec, const Eigen::Vector3d& centre) {
  if (spec.range.butt == "none") {
    return;
  }
  Rng rng = Rng::stream(spec.range.texture_seed, 31);
  const double half = rng.uniform(0.42, 0.65);
  const double ground = spec.range.ground_below_m;
  const double z = centre.z();
  const double cx = centre.x();
  const double cy = std::min(centre.y(), ground - half - 0.1);
  const Light& light = canvas.light;
  const Eigen::Vector3d toward(0.0, 0.0, -1.0);
  // Soft dark patch of the butt's own shade on the ground.
  for (int i = 5; i >= 1; --i) {
    const double w = half * (0.75 + 0.08 * i);
    const std::array<Eigen::Vector3d, 4> shade{Eigen::Vector3d(cx - w, ground, z - 0.05 * i),
                                               Eigen::Vector3d(cx + w, ground, z - 0.05 * i),
                                               Eigen::Vector3d(cx + w, ground, z + 0.4 + 0.05 * i),
                                               Eigen::Vector3d(cx - w, ground, z + 0.4 + 0.05 * i)};
    canvas.fill(shade, Colour(0.01F, 0.012F, 0.01F), 0.16F);
  }
  // Stand.
  const Colour timber = light.on(Colour(0.22F, 0.15F, 0.09F), toward);
  for (const double side : {-0.8, 0.8}) {
    const std::array<Eigen::Vector3d, 4> leg{
        Eigen::Vector3d(cx + side * half - 0.04, cy, z + 0.1),
        Eigen::Vector3d(cx + side * half + 0.04, cy, z + 0.1),
        Eigen::Vector3d(cx + side * half * 1.15 + 0.04, ground, z),
        Eigen::Vector3d(cx + side * half * 1.15 - 0.04, ground, z)};
    canvas.fill(leg, timber);
  }
  // The block with straw-like bands.
  const Colour straw = light.on(Colour(0.38F, 0.29F, 0.14F), toward);
  const int bands = 18;
  for (int i = 0; i < bands; ++i) {
    const double top = cy - half + 2.0 * half * i / bands;
    const double bottom = cy - half + 2.0 * half * (i + 1) / bands;
    const std::array<Eigen::Vector3d, 4> band{
        Eigen::Vector3d(cx - half, top, z), Eigen::Vector3d(cx + half, top, z),
        Eigen::Vector3d(cx + half, bottom, z), Eigen::Vector3d(cx - half, bottom, z)};
    canvas.fill(band, straw * static_cast<float>(rng.uniform(0.75, 1.1)));
  }
  const auto disc = [&](double radius, const Colour& albedo) {
    std::vector<Eigen::Vector3d> ring;
    for (int i = 0; i < 48; ++i) {
      const double a = 2.0 * std::numbers::pi * i / 48.0;
      ring.emplace_back(cx + radius * std::cos(a), cy + radius * std::sin(a), z - 0.002);
    }
    canvas.fill(ring, light.on(albedo, toward));
  };
  const double face = 0.88 * half;
  if (spec.range.butt == "rings") {
    // An invented face: no organisation's ring colours.
    const std::array<Colour, 5> rings{Colour(0.70F, 0.68F, 0.60F), Colour(0.08F, 0.20F, 0.12F),
                                      Colour(0.70F, 0.68F, 0.60F), Colour(0.25F, 0.07F, 0.20F),
                                      Colour(0.75F, 0.45F, 0.08F)};
    for (std::size_t i = 0; i < rings.size(); ++i) {
      disc(face * (1.0 - 0.2 * static_cast<double>(i)), rings[i]);
    }
  } else {
    const std::array<Eigen::Vector3d, 4> paper{
        Eigen::Vector3d(cx - 0.6 * face, cy - 0.7 * face, z),
        Eigen::Vector3d(cx + 0.6 * face, cy - 0.7 * face, z),
        Eigen::Vector3d(cx + 0.6 * face, cy + 0.7 * face, z),
        Eigen::Vector3d(cx - 0.6 * face, cy + 0.7 * face, z)};
    canvas.fill(paper, light.on(Colour(0.55F, 0.52F, 0.42F), toward));
    disc(0.16 * face, Colour(0.04F, 0.04F, 0.05F));
  }
  // Arrows of earlier ends.
  for (int i = 0; i < spec.range.arrows_in_butt; ++i) {
    const Eigen::Vector3d entry(cx + rng.normal() * 0.2 * half, cy + rng.normal() * 0.2 * half, z);
    const double out = rng.uniform(0.5, 0.62);
    const Eigen::Vector3d back =
        entry + out * Eigen::Vector3d(rng.normal() * 0.03, rng.normal() * 0.03, -1.0);
    const double r = 0.5 * spec.arrow.diameter_m;
    const auto strip = [&](double a, double b, double half_width, const Colour& albedo,
                           const Eigen::Vector3d& across) {
      const Eigen::Vector3d from = entry + a * (back - entry);
      const Eigen::Vector3d to = entry + b * (back - entry);
      const std::array<Eigen::Vector3d, 4> piece{
          from - half_width * across, from + half_width * across, to + half_width * across,
          to - half_width * across};
      canvas.fill(piece, light.on(albedo, -Eigen::Vector3d::UnitY()));
    };
    const Colour vane(static_cast<float>(rng.uniform(0.05, 0.8)),
                      static_cast<float>(rng.uniform(0.05, 0.7)),
                      static_cast<float>(rng.uniform(0.03, 0.6)));
    strip(0.0, 1.0, r, Colour(0.10F, 0.07F, 0.04F), Eigen::Vector3d::UnitX());
    const double roll = rng.uniform(0.0, 2.1);
    for (int v = 0; v < 3; ++v) {
      const double a = roll + 2.0 * std::numbers::pi * v / 3.0;
      const Eigen::Vector3d tip(std::cos(a), std::sin(a), 0.0);
      const Eigen::Vector3d from = entry + 0.84 * (back - entry);
      const Eigen::Vector3d to = entry + 0.97 * (back - entry);
      const std::array<Eigen::Vector3d, 4> piece{from, from + 0.006 * tip, to + 0.012 * tip, to};
      canvas.fill(piece, light.on(vane, -Eigen::Vector3d::UnitZ()));
    }
    strip(0.97, 1.0, r, Colour(0.6F, 0.5F, 0.05F), Eigen::Vector3d::UnitX());
  }
}

Panorama::Panorama(const ClipSpec& spec, const Camera& camera, const Light& light,
                   const Eigen::Vector3d& butt_centre, double margin_deg)
    : camera_(&camera), wind_(spec.range.wind) {
  Canvas canvas;
  canvas.camera = &camera;
  canvas.light = light;
  f_ = canvas.f = camera.focal_px() * kOversize;
  const double reach = std::tan(margin_deg * kRad) * camera.focal_px() * 1.4 + 8.0;
  const int w = static_cast<int>((camera.width() + 2.0 * reach) * kOversize) & ~1;
  const int h = static_cast<int>((camera.height() + 2.0 * reach) * kOversize) & ~1;
  cx_ = canvas.cx = 0.5 * (w - 1);
  cy_ = canvas.cy = 0.5 * (h - 1);
  canvas.image.resize(w, h, Colour(0.10F, 0.11F, 0.10F));

  leafy_columns_ = w / kLeafyPatch + 2;
  const int rows = h / kLeafyPatch + 2;
  leafy_.assign(static_cast<std::size_t>(leafy_columns_) * static_cast<std::size_t>(rows), 0.0F);
  const auto mark = [&](const Box& box, float sway_px) {
    const Box cells = Box{box.x0 / kLeafyPatch, box.y0 / kLeafyPatch, box.x1 / kLeafyPatch + 1,
                          box.y1 / kLeafyPatch + 1}
                          .clipped({0, 0, leafy_columns_, rows});
    for (int y = cells.y0; y < cells.y1; ++y) {
      for (int x = cells.x0; x < cells.x1; ++x) {
        float& cell = leafy_[static_cast<std::size_t>(y * leafy_columns_ + x)];
        cell = std::max(cell, sway_px);
      }
    }
  };
  paint_ground(canvas, spec.range);
  paint_far_scenery(canvas, spec.range, mark);
  paint_butt(canvas, spec, butt_centre);
  picture_ = to_picture(canvas.image);
}

Eigen::Vector2d Panorama::sway(const Eigen::Vector2d& p, double t) const {
  const double gx = std::clamp(p.x() / kLeafyPatch - 0.5, 0.0, leafy_columns_ - 1.01);
  const int rows = static_cast<int>(leafy_.size()) / leafy_columns_;
  const double gy = std::clamp(p.y() / kLeafyPatch - 0.5, 0.0, rows - 1.01);
  const auto ix = static_cast<std::size_t>(gx);
  const auto iy = static_cast<std::size_t>(gy);
  const double fx = gx - static_cast<double>(ix);
  const double fy = gy - static_cast<double>(iy);
  const auto at = [&](std::size_t x, std::size_t y) {
    return static_cast<double>(leafy_[y * static_cast<std::size_t>(leafy_columns_) + x]);
  };
  const double amount = (1 - fy) * ((1 - fx) * at(ix, iy) + fx * at(ix + 1, iy)) +
                        fy * ((1 - fx) * at(ix, iy + 1) + fx * at(ix + 1, iy + 1));
  if (amount <= 0.0) {
    return Eigen::Vector2d::Zero();
  }
  // Slow gusts carry quicker flutter; neighbouring twigs differ in phase.
  const double phase = 0.013 * p.x() + 0.021 * p.y();
  const double gust = std::sin(2.1 * t + 0.3 * phase) + 0.6 * std::sin(7.3 * t + 2.0 * phase);
  const double flutter = 0.4 * std::sin(19.0 * t + 9.0 * phase);
  return wind_ * amount * Eigen::Vector2d(gust + flutter, 0.35 * gust - flutter);
}

void Panorama::cut(const View& view, Picture& out) const {
  const Eigen::Matrix3d mean_t = camera_->mean_pose().camera_from_range.transpose();
  const Camera& camera = *camera_;
  // Rotation from this instant's camera to the mean camera, at both ends of the read-out.
  const double half = 0.5 * camera.spec().readout_s;
  const auto turn_at = [&](double t) {
    return Eigen::Matrix3d((view.pose(t).camera_from_range * mean_t).transpose());
  };
  const Eigen::Matrix3d first = turn_at(view.time_s() - half);
  const Eigen::Matrix3d last = turn_at(view.time_s() + half);
  const Eigen::Matrix3d middle = turn_at(view.time_s());
  const double t = view.time_s();
  warp(
      picture_,
      [&](double x, double y) {
        const double share = half > 0.0 ? camera.row_delay(x, y) / half : 0.0;  // -1..1
        const Eigen::Vector3d ray = camera.camera_ray(x, y);
        const Eigen::Matrix3d turn = share < 0.0
                                         ? Eigen::Matrix3d(middle - share * (first - middle))
                                         : Eigen::Matrix3d(middle + share * (last - middle));
        const Eigen::Vector2d p = pixel(turn * ray);
        return wind_ > 0.0 ? Eigen::Vector2d(p + sway(p, t)) : p;
      },
      out);
}

}  // namespace clipmaker
