#include <algorithm>
#include <array>
#include <cmath>

#include "noise.hpp"
#include "range.hpp"
#include "rng.hpp"

namespace clipmaker {
namespace {

Colour grey(double v) { return Colour::Constant(static_cast<float>(v)); }

void sky(Canvas& canvas, const RangeSpec& range, const Colour& zenith, const Colour& horizon) {
  const auto seed = static_cast<std::uint32_t>(range.texture_seed * 31U);
  for (int y = 0; y < canvas.image.height; ++y) {
    for (int x = 0; x < canvas.image.width; ++x) {
      const Eigen::Vector3d ray = canvas.ray(x, y).normalized();
      const auto up = static_cast<float>(std::clamp(-ray.y() * 2.2, 0.0, 1.0));
      Colour c = horizon + up * (zenith - horizon);
      const float cloud = fractal_noise(static_cast<float>(ray.x()) * 6.0F,
                                        static_cast<float>(ray.y()) * 18.0F, 4, 0.55F, 0.01F, seed);
      c += std::clamp(cloud, 0.0F, 1.0F) * 0.5F * (Colour(0.85F, 0.86F, 0.88F) - c);
      canvas.image.at(x, y) = c * canvas.light.scale;
    }
  }
}

// A round-topped mass of leaves as many small blobs, darker below.
void foliage(Canvas& canvas, Rng& rng, const Eigen::Vector3d& centre, double rx, double ry,
             const Colour& albedo, int blobs, double blob_m) {
  for (int i = 0; i < blobs; ++i) {
    const double a = rng.uniform(0.0, 6.2832);
    const double r = std::sqrt(rng.unit());
    const double dy = r * std::sin(a);
    const Eigen::Vector3d p =
        centre + Eigen::Vector3d(rx * r * std::cos(a), ry * dy, rng.uniform(-0.3, 0.3));
    const double size = blob_m * rng.uniform(0.4, 1.3);
    const double turn = rng.uniform(0.0, 3.14);
    std::array<Eigen::Vector3d, 5> leaf;
    for (std::size_t k = 0; k < leaf.size(); ++k) {
      const double t = turn + 6.2832 * static_cast<double>(k) / 5.0;
      leaf[k] = p + Eigen::Vector3d(size * std::cos(t), 0.7 * size * std::sin(t), 0.0);
    }
    const Eigen::Vector3d normal =
        Eigen::Vector3d(rng.normal() * 0.6, -0.5 + 0.8 * dy + rng.normal() * 0.5, -0.5).normalized();
    canvas.fill(leaf, canvas.light.on(albedo * static_cast<float>(rng.uniform(0.5, 1.4)), normal),
                0.9F);
  }
}

Box patch_of(const Canvas& canvas, const Eigen::Vector3d& centre, double rx, double ry) {
  const std::array<Eigen::Vector2d, 2> corners{
      canvas.pixel_of(centre - Eigen::Vector3d(rx, ry, 0)),
      canvas.pixel_of(centre + Eigen::Vector3d(rx, ry, 0))};
  return box_of(corners).clipped({0, 0, canvas.image.width, canvas.image.height});
}

void trunk(Canvas& canvas, Rng& rng, double x, double z, double wide, double ground,
           const Colour& albedo, std::uint32_t seed) {
  const double lean = rng.normal() * 0.25;
  const double top = -9.0;
  // Five strips across give it roundness; bark noise runs lengthwise.
  constexpr int kStrips = 5;
  for (int i = 0; i < kStrips; ++i) {
    const double a = -1.0 + 2.0 * i / kStrips;
    const double b = -1.0 + 2.0 * (i + 1) / kStrips;
    const double mid = 0.5 * (a + b);
    const Eigen::Vector3d normal(mid, 0.0, -std::sqrt(1.0 - mid * mid));
    const Colour lit = canvas.light.on(albedo, normal);
    const double half = 0.5 * wide;
    std::vector<Eigen::Vector2d> strip{
        canvas.pixel_of({x + a * half, ground, z}), canvas.pixel_of({x + b * half, ground, z}),
        canvas.pixel_of({x + lean + 0.7 * b * half, top, z}),
        canvas.pixel_of({x + lean + 0.7 * a * half, top, z})};
    canvas.image.shade(strip, [&](int px, int py) {
      const float n = fractal_noise(static_cast<float>(px) * 0.35F, static_cast<float>(py) * 0.05F,
                                    3, 0.7F, 0.35F, seed);
      return Colour(lit * std::max(0.25F, 1.0F + 0.55F * n));
    });
  }
}

void wood(Canvas& canvas, const RangeSpec& range, const MarkLeafy& mark) {
  Rng rng = Rng::stream(range.texture_seed, 41);
  sky(canvas, range, Colour(0.30F, 0.45F, 0.72F), Colour(0.65F, 0.70F, 0.74F));
  const double ground = range.ground_below_m;
  // Back row: a dim wall of leaves.
  const double zf = range.far_m;
  for (int i = 0; i < 70; ++i) {
    const double z = zf + rng.uniform(5.0, 25.0);
    const Eigen::Vector3d c(rng.uniform(-1.0, 1.0) * z, ground - rng.uniform(0.5, 7.5), z);
    foliage(canvas, rng, c, rng.uniform(1.5, 3.5), rng.uniform(1.2, 2.5),
            Colour(0.035F, 0.06F, 0.02F) * static_cast<float>(rng.uniform(0.6, 1.6)), 220, 0.35);
  }
  for (int i = 0; i < 46; ++i) {
    const double z = zf + 22.0 * (1.0 - (i + 0.5) / 46.0);
    const double fade = rng.uniform(0.6, 1.2);
    trunk(canvas, rng, rng.uniform(-0.95, 0.95) * z, z, rng.uniform(0.12, 0.55), ground,
          Colour(0.11F, 0.085F, 0.06F) * static_cast<float>(fade),
          static_cast<std::uint32_t>(range.texture_seed) + static_cast<std::uint32_t>(i));
  }
  for (int i = 0; i < 46; ++i) {
    const double z = zf + rng.uniform(-4.0, 6.0);
    const Eigen::Vector3d c(rng.uniform(-0.95, 0.95) * z, ground - rng.uniform(0.1, 0.9), z);
    const double rx = rng.uniform(0.5, 1.8);
    foliage(canvas, rng, c, rx, rng.uniform(0.3, 0.9),
            Colour(0.07F, 0.13F, 0.03F) * static_cast<float>(rng.uniform(0.5, 1.5)), 420, 0.10);
    if (rng.chance(0.7)) {
      mark(patch_of(canvas, c, rx, 0.8), static_cast<float>(rng.uniform(0.4, 1.6)));
    }
  }
  // A few branches of leaves hanging in from above.
  for (int i = 0; i < 9; ++i) {
    const double z = rng.uniform(9.0, 20.0);
    const Eigen::Vector3d c(rng.uniform(-0.6, 0.6) * z, -0.25 * z - rng.uniform(0.0, 0.2) * z, z);
    foliage(canvas, rng, c, 0.09 * z, 0.05 * z, Colour(0.08F, 0.15F, 0.03F), 350, 0.055);
    mark(patch_of(canvas, c, 0.09 * z, 0.05 * z), static_cast<float>(rng.uniform(1.0, 3.5)));
  }
}

}  // namespace

void paint_far_scenery(Canvas& canvas, const RangeSpec& range, const MarkLeafy& mark) {
  (void)grey;
  wood(canvas, range, mark);
}

}  // namespace clipmaker
