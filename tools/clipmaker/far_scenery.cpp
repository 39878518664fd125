#include <Eigen/Geometry>
#include <algorithm>
#include <array>
#include <cmath>

#include "noise.hpp"
#include "range.hpp"
#include "rng.hpp"

namespace clipmaker {
namespace {

void sky(Canvas& canvas, const RangeSpec& range, const Colour& zenith, const Colour& horizon) {
  const auto seed = static_cast<std::uint32_t>(range.texture_seed * 31U);
  for (int y = 0; y < canvas.image.height; ++y) {
    for (int x = 0; x < canvas.image.width; ++x) {
      const Eigen::Vector3d ray = canvas.ray(x, y).normalized();
      if (ray.y() > 0.004) {
        continue;  // ground
      }
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
        Eigen::Vector3d(rng.normal() * 0.6, -0.5 + 0.8 * dy + rng.normal() * 0.5, -0.5)
            .normalized();
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
  const double top = -0.42 * z;
  // Five strips across give it roundness; bark noise runs lengthwise.
  constexpr int kStrips = 5;
  for (int i = 0; i < kStrips; ++i) {
    const double a = -1.0 + 2.0 * i / kStrips;
    const double b = -1.0 + 2.0 * (i + 1) / kStrips;
    const double mid = 0.5 * (a + b);
    const Eigen::Vector3d normal(mid, 0.0, -std::sqrt(1.0 - mid * mid));
    const Colour lit = canvas.light.on(albedo, normal);
    const double half = 0.5 * wide;
    std::vector<Eigen::Vector2d> strip{canvas.pixel_of({x + a * half, ground, z}),
                                       canvas.pixel_of({x + b * half, ground, z}),
                                       canvas.pixel_of({x + lean + 0.7 * b * half, top, z}),
                                       canvas.pixel_of({x + lean + 0.7 * a * half, top, z})};
    canvas.image.shade(strip, [&](int px, int py) {
      const float n = fractal_noise(static_cast<float>(px) * 0.35F, static_cast<float>(py) * 0.05F,
                                    3, 0.7F, 0.35F, seed);
      return Colour(lit * std::max(0.25F, 1.0F + 0.55F * n));
    });
  }
}

// Everything between two heights at distance z, coloured per pixel from (X, Y) on that plane.
template <typename Paint>
void curtain(Canvas& canvas, double z, double bottom, double top, Paint paint) {
  const Eigen::Vector3d eye = canvas.camera->mean_pose().position_m;
  for (int y = 0; y < canvas.image.height; ++y) {
    for (int x = 0; x < canvas.image.width; ++x) {
      const Eigen::Vector3d ray = canvas.ray(x, y);
      const double k = (z - eye.z()) / std::max(ray.z(), 0.05);
      const double py = eye.y() + k * ray.y();
      if (py <= bottom && py >= top) {
        paint(canvas.image.at(x, y), static_cast<float>(eye.x() + k * ray.x()),
              static_cast<float>(py));
      }
    }
  }
}

// Thin upright or slanting bar.
void bar(Canvas& canvas, const Eigen::Vector3d& from, const Eigen::Vector3d& to, double wide,
         const Colour& colour) {
  const Eigen::Vector3d side =
      (to - from).cross(Eigen::Vector3d::UnitZ()).normalized() * 0.5 * wide;
  const std::array<Eigen::Vector3d, 4> quad{from - side, from + side, to + side, to - side};
  canvas.fill(quad, colour);
}

// A sagging wire between two points.
void wire(Canvas& canvas, const Eigen::Vector3d& from, const Eigen::Vector3d& to, double sag,
          double wide, const Colour& colour) {
  constexpr int kPieces = 24;
  const auto at = [&](int i) {
    const double x = static_cast<double>(i) / kPieces;
    return Eigen::Vector3d(from + x * (to - from) + Eigen::Vector3d(0, 4.0 * sag * x * (1 - x), 0));
  };
  for (int i = 0; i < kPieces; ++i) {
    bar(canvas, at(i), at(i + 1), wide, colour);
  }
}

// Tufts of upright blades along the foot of the far plane.
void tufts(Canvas& canvas, Rng& rng, double z0, double z1, double ground, double tall, int count,
           const Colour& albedo, const MarkLeafy& mark) {
  for (int i = 0; i < count; ++i) {
    const double z = z1 + (z0 - z1) * (i + 0.5) / count;
    const double x = rng.uniform(-0.95, 0.95) * z;
    const double h = tall * rng.uniform(0.4, 1.2);
    const double w = rng.uniform(0.008, 0.022);
    const Eigen::Vector3d foot(x, ground, z);
    const std::array<Eigen::Vector3d, 3> blade{
        foot - Eigen::Vector3d(w, 0, 0), foot + Eigen::Vector3d(w, 0, 0),
        foot + Eigen::Vector3d(rng.normal() * 0.18 * h, -h, 0)};
    canvas.fill(blade, canvas.light.on(albedo * static_cast<float>(rng.uniform(0.35, 1.5)),
                                       Eigen::Vector3d(0, -0.8, -0.6)));
    if (i % 40 == 0) {
      mark(patch_of(canvas, foot - Eigen::Vector3d(0, 0.5 * h, 0), 0.4, 0.5 * h),
           static_cast<float>(rng.uniform(0.2, 1.0)));
    }
  }
}

void bare_tree(Canvas& canvas, Rng& rng, const Eigen::Vector3d& foot, double length, double angle,
               double wide, int depth, const Colour& colour) {
  const Eigen::Vector3d end =
      foot + length * Eigen::Vector3d(std::sin(angle), -std::cos(angle), 0.0);
  bar(canvas, foot, end, wide, colour);
  if (depth == 0) {
    return;
  }
  const int forks = rng.chance(0.4) ? 3 : 2;
  for (int i = 0; i < forks; ++i) {
    bare_tree(canvas, rng, end, length * rng.uniform(0.6, 0.85), angle + rng.normal() * 0.45,
              wide * 0.62, depth - 1, colour);
  }
}

void wood(Canvas& canvas, const RangeSpec& range, const MarkLeafy& mark) {
  Rng rng = Rng::stream(range.texture_seed, 41);
  const auto seed = static_cast<std::uint32_t>(rng.bits());
  sky(canvas, range, Colour(0.30F, 0.45F, 0.72F), Colour(0.65F, 0.70F, 0.74F));
  const double ground = range.ground_below_m;
  const double zf = range.far_m;
  // Back: a dim wall of leaves with the sky showing through near its top.
  const Colour lit = canvas.light.on(Colour(0.045F, 0.07F, 0.022F), {0.0, -0.4, -0.9});
  const auto top = -0.30 * zf;
  curtain(canvas, zf + 25.0, ground, 1.6 * top, [&](Colour& pixel, float x, float y) {
    const float height = (static_cast<float>(ground) - y) / static_cast<float>(ground - top);
    const float clump = fractal_noise(x * 0.35F, y * 0.35F, 5, 0.7F, 0.03F, seed);
    const float gap = fractal_noise(x * 1.1F, y * 1.1F, 4, 0.8F, 0.08F, seed + 50U);
    if (gap + 0.6F * clump > 1.5F - 1.15F * height) {
      return;
    }
    pixel = lit * std::max(0.15F, 0.75F + 0.9F * clump * (0.6F + 0.4F * gap));
  });
  const int trunks = 34 + rng.below(26);
  for (int i = 0; i < trunks; ++i) {
    const double z = zf + 22.0 * (1.0 - (i + 0.5) / trunks);
    trunk(canvas, rng, rng.uniform(-0.95, 0.95) * z, z, rng.uniform(0.10, 0.5), ground,
          Colour(0.11F, 0.085F, 0.06F) * static_cast<float>(rng.uniform(0.5, 1.6)),
          static_cast<std::uint32_t>(range.texture_seed) + static_cast<std::uint32_t>(i));
  }
  for (int i = 0; i < 40; ++i) {
    const double z = zf + rng.uniform(-4.0, 8.0);
    const Eigen::Vector3d c(rng.uniform(-0.95, 0.95) * z, ground - rng.uniform(0.1, 0.9), z);
    const double rx = rng.uniform(0.5, 1.8);
    foliage(canvas, rng, c, rx, rng.uniform(0.3, 0.9),
            Colour(0.07F, 0.13F, 0.03F) * static_cast<float>(rng.uniform(0.5, 1.5)), 420, 0.10);
    if (rng.chance(0.7)) {
      mark(patch_of(canvas, c, rx, 0.8), static_cast<float>(rng.uniform(0.4, 1.6)));
    }
  }
  tufts(canvas, rng, 0.6 * zf, zf, ground, 0.35, 2600, Colour(0.11F, 0.17F, 0.045F), mark);
  // A few branches of leaves hanging in from above, leaves along drooping twigs.
  for (int i = 0; i < 7; ++i) {
    const double z = rng.uniform(9.0, 20.0);
    const Eigen::Vector3d root(rng.uniform(-0.7, 0.7) * z, -0.45 * z, z);
    for (int twig = 0; twig < 9; ++twig) {
      const Eigen::Vector3d tip =
          root + z * Eigen::Vector3d(rng.normal() * 0.10, rng.uniform(0.08, 0.25), 0);
      wire(canvas, root, tip, -0.01 * z, 0.02, Colour(0.03F, 0.02F, 0.015F));
      for (int leaf = 1; leaf < 12; ++leaf) {
        foliage(canvas, rng, root + (tip - root) * leaf / 12.0, 0.2, 0.16,
                Colour(0.08F, 0.15F, 0.03F) * static_cast<float>(rng.uniform(0.6, 1.4)), 7, 0.06);
      }
    }
    mark(patch_of(canvas, root + Eigen::Vector3d(0, 0.15 * z, 0), 0.12 * z, 0.13 * z),
         static_cast<float>(rng.uniform(1.0, 3.5)));
  }
}

void hedge(Canvas& canvas, const RangeSpec& range, const MarkLeafy& mark) {
  Rng rng = Rng::stream(range.texture_seed, 42);
  const auto seed = static_cast<std::uint32_t>(rng.bits());
  sky(canvas, range, Colour(0.35F, 0.48F, 0.70F), Colour(0.72F, 0.75F, 0.77F));
  const double ground = range.ground_below_m;
  const double zf = range.far_m;
  // Roofs and far trees beyond.
  for (int i = 0; i < 9; ++i) {
    const double z = zf + rng.uniform(30.0, 70.0);
    const double x = rng.uniform(-0.9, 0.9) * z;
    if (rng.chance(0.5)) {
      const double w = rng.uniform(3.0, 7.0);
      const double eaves = -rng.uniform(1.5, 3.5);
      const Colour wall = canvas.light.on(
          Colour(0.45F, 0.40F, 0.34F) * static_cast<float>(rng.uniform(0.5, 1.2)), {0, 0, -1});
      const Colour roof = canvas.light.on(Colour(0.20F, 0.09F, 0.07F), {0, -0.7, -0.7});
      const std::array<Eigen::Vector3d, 4> house{
          Eigen::Vector3d(x - w, ground, z), Eigen::Vector3d(x + w, ground, z),
          Eigen::Vector3d(x + w, eaves, z), Eigen::Vector3d(x - w, eaves, z)};
      canvas.fill(house, wall);
      const std::array<Eigen::Vector3d, 4> tiles{Eigen::Vector3d(x - w - 0.4, eaves, z),
                                                 Eigen::Vector3d(x + w + 0.4, eaves, z),
                                                 Eigen::Vector3d(x + 0.8 * w, eaves - 3.0, z),
                                                 Eigen::Vector3d(x - 0.8 * w, eaves - 3.0, z)};
      canvas.fill(tiles, roof);
    } else {
      foliage(canvas, rng, {x, -2.5, z}, 4.0, 4.0, Colour(0.04F, 0.075F, 0.025F), 900, 0.35);
    }
  }
  // Poles and cables.
  for (int i = 0; i < 5; ++i) {
    const double z = zf + rng.uniform(3.0, 25.0);
    const double x = rng.uniform(-0.7, 0.7) * z;
    bar(canvas, {x, ground, z}, {x, -6.5, z}, 0.22, Colour(0.07F, 0.06F, 0.05F));
    for (int k = 0; k < 3; ++k) {
      const double y = -6.2 + 0.35 * k;
      wire(canvas, {x, y, z}, {x + 32.0, y + rng.uniform(-1, 1), z + 4.0}, 0.9, 0.035,
           Colour(0.02F, 0.02F, 0.02F));
      wire(canvas, {x, y, z}, {x - 32.0, y + rng.uniform(-1, 1), z + 4.0}, 0.9, 0.035,
           Colour(0.02F, 0.02F, 0.02F));
    }
  }
  const double high = ground - rng.uniform(1.6, 2.6);
  const Colour lit = canvas.light.on(Colour(0.06F, 0.12F, 0.03F), {0.0, -0.3, -0.95});
  curtain(canvas, zf, ground, high - 0.25, [&](Colour& pixel, float x, float y) {
    const float n = fractal_noise(x * 2.6F, y * 2.6F, 5, 0.85F, 0.07F, seed);
    const float edge =
        static_cast<float>(high) + 0.12F * fractal_noise(x * 3.0F, 0.5F, 3, 0.7F, 0.05F, seed + 9U);
    if (y > edge) {
      pixel = lit * std::max(0.12F, 0.8F + 0.75F * n);
    }
  });
  for (int i = 0; i < 16; ++i) {
    const double x = rng.uniform(-0.9, 0.9) * zf;
    mark(patch_of(canvas, {x, 0.5 * (ground + high), zf}, 1.5, 1.0),
         static_cast<float>(rng.uniform(0.3, 1.2)));
  }
  tufts(canvas, rng, 0.55 * zf, zf, ground, 0.25, 2400, Colour(0.12F, 0.18F, 0.05F), mark);
}

void hall(Canvas& canvas, const RangeSpec& range) {
  Rng rng = Rng::stream(range.texture_seed, 43);
  const auto seed = static_cast<std::uint32_t>(rng.bits());
  const double ground = range.ground_below_m;
  const double zf = range.far_m;
  const auto ceiling = static_cast<float>(-rng.uniform(1.8, 3.2));
  const Colour paint(static_cast<float>(rng.uniform(0.25, 0.5)),
                     static_cast<float>(rng.uniform(0.25, 0.45)),
                     static_cast<float>(rng.uniform(0.2, 0.4)));
  const Colour lit = canvas.light.on(paint, {0, 0, -1});
  const auto panel = static_cast<float>(rng.uniform(0.6, 1.3));
  curtain(canvas, zf, ground, -100.0, [&](Colour& pixel, float x, float y) {
    const float seam = std::abs(x / panel - std::round(x / panel)) * panel;
    const float dirt = fractal_noise(x * 0.8F, y * 0.8F, 5, 0.6F, 0.04F, seed);
    float k = 1.0F + 0.12F * dirt - 0.6F * std::exp(-seam * seam * 1500.0F);
    if (y > static_cast<float>(ground) - 1.0F) {
      k *= 0.6F;  // skirting boards
    }
    pixel = lit * k;
  });
  // Backstop net in tight vertical folds.
  const double half = rng.uniform(3.0, 6.0);
  const Colour net = canvas.light.on(Colour(0.08F, 0.12F, 0.09F), {0, 0, -1});
  curtain(canvas, zf - 1.5, ground, static_cast<double>(ceiling) + 0.3,
          [&](Colour& pixel, float x, float y) {
            if (std::abs(x) > static_cast<float>(half)) {
              return;
            }
            const float fold = std::sin(
                x * 21.0F + 2.0F * fractal_noise(x * 1.3F, y * 0.2F, 3, 0.6F, 0.02F, seed + 3U));
            pixel = net * (0.75F + 0.45F * fold);
          });
  // Ceiling with beams and lamps, in perspective.
  const Eigen::Vector3d eye = canvas.camera->mean_pose().position_m;
  const float rise = static_cast<float>(-eye.y()) - ceiling;
  for (int y = 0; y < canvas.image.height; ++y) {
    for (int x = 0; x < canvas.image.width; ++x) {
      const Eigen::Vector3d ray = canvas.ray(x, y);
      if (ray.y() >= 0.0) {
        continue;
      }
      const double k = static_cast<double>(rise + 2.0F) / -ray.y();
      const double z = eye.z() + k * ray.z();
      const double cx = eye.x() + k * ray.x();
      if (z > zf || z < -2.0) {
        continue;
      }
      const double beam = z / 4.0 - std::floor(z / 4.0);
      const bool lamp =
          beam > 0.45 && beam < 0.55 && std::abs(cx / 4.0 - std::round(cx / 4.0)) < 0.16;
      const float base = beam < 0.07 ? 0.10F : 0.26F;
      canvas.image.at(x, y) = lamp ? Colour::Constant(1.0F) * canvas.light.scale
                                   : Colour(Colour(1.0F, 0.97F, 0.92F) * base * canvas.light.scale);
    }
  }
  for (int i = 0; i < 10; ++i) {
    const double x = rng.uniform(-0.7, 0.7) * zf;
    const double top = -rng.uniform(0.0, 1.8);
    bar(canvas, {x, ground, zf - 0.3}, {x, top, zf - 0.3}, rng.uniform(0.05, 0.2),
        canvas.light.on(Colour(0.2F, 0.2F, 0.22F) * static_cast<float>(rng.uniform(0.3, 2.0)),
                        {0, 0, -1}));
  }
}

void posts(Canvas& canvas, const RangeSpec& range, const MarkLeafy& mark) {
  Rng rng = Rng::stream(range.texture_seed, 44);
  sky(canvas, range, Colour(0.50F, 0.52F, 0.56F), Colour(0.78F, 0.76F, 0.72F));
  const double ground = range.ground_below_m;
  const double zf = range.far_m;
  // Low hills in the haze.
  const auto seed = static_cast<std::uint32_t>(rng.bits());
  for (int ridge = 0; ridge < 3; ++ridge) {
    const double z = zf + 140.0 - 45.0 * ridge;
    const Colour tone = Colour(0.36F, 0.38F, 0.42F) * (1.0F - 0.25F * static_cast<float>(ridge)) *
                        canvas.light.scale;
    curtain(canvas, z, ground, -40.0, [&](Colour& pixel, float x, float y) {
      const float crest = static_cast<float>(ground) - 3.5F * static_cast<float>(3 - ridge) -
                          5.0F * fractal_noise(x * 0.02F + static_cast<float>(ridge) * 7.0F, 0.3F,
                                               4, 0.5F, 0.01F, seed);
      if (y > crest) {
        pixel = tone;
      }
    });
  }
  for (int i = 0; i < 16; ++i) {
    const double z = zf + rng.uniform(2.0, 30.0);
    const double tall = rng.uniform(1.6, 3.0);
    bare_tree(canvas, rng, {rng.uniform(-0.9, 0.9) * z, ground, z}, tall, rng.normal() * 0.05,
              0.10 * tall, 6, canvas.light.on(Colour(0.07F, 0.06F, 0.055F), {0, -0.3, -0.95}));
  }
  // Fence: posts and three wires.
  const double step = rng.uniform(1.6, 2.6);
  const double z = zf - 2.0;
  const Colour timber = canvas.light.on(Colour(0.20F, 0.17F, 0.14F), {0, 0, -1});
  for (double x = -0.95 * z; x < 0.95 * z; x += step) {
    const double h = rng.uniform(1.1, 1.35);
    bar(canvas, {x, ground, z}, {x + rng.normal() * 0.04, ground - h, z}, 0.11,
        timber * static_cast<float>(rng.uniform(0.6, 1.3)));
    for (int k = 0; k < 3; ++k) {
      wire(canvas, {x, ground - 0.35 - 0.33 * k, z}, {x + step, ground - 0.35 - 0.33 * k, z}, 0.03,
           0.012, Colour(0.08F, 0.08F, 0.08F));
    }
  }
  tufts(canvas, rng, 0.6 * zf, zf + 6.0, ground, 0.5, 3200, Colour(0.30F, 0.25F, 0.13F), mark);
}

void field(Canvas& canvas, const RangeSpec& range, const MarkLeafy& mark) {
  Rng rng = Rng::stream(range.texture_seed, 45);
  sky(canvas, range, Colour(0.24F, 0.40F, 0.75F), Colour(0.80F, 0.72F, 0.60F));
  const double ground = range.ground_below_m;
  const double zf = range.far_m;
  for (int i = 0; i < 14; ++i) {
    const double z = zf + rng.uniform(25.0, 60.0);
    const double r = rng.uniform(1.5, 4.5);
    const Eigen::Vector3d c(rng.uniform(-0.95, 0.95) * z, ground - r, z);
    foliage(canvas, rng, c, r, 1.1 * r,
            Colour(0.10F, 0.11F, 0.035F) * static_cast<float>(rng.uniform(0.5, 1.5)), 800, 0.3);
  }
  // Reeds and standing corn: a dense wall of upright strokes.
  tufts(canvas, rng, zf - 3.0, zf + 12.0, ground, 2.1, 9000, Colour(0.42F, 0.33F, 0.12F), mark);
  for (int i = 0; i < 7; ++i) {
    const double z = zf + rng.uniform(-2.0, 10.0);
    const double x = rng.uniform(-0.8, 0.8) * z;
    bar(canvas, {x, ground, z}, {x, -rng.uniform(2.0, 5.0), z}, rng.uniform(0.06, 0.16),
        Colour(0.25F, 0.25F, 0.26F));
  }
}

void wall(Canvas& canvas, const RangeSpec& range) {
  Rng rng = Rng::stream(range.texture_seed, 46);
  const auto seed = static_cast<std::uint32_t>(rng.bits());
  const double ground = range.ground_below_m;
  const double zf = range.far_m;
  const Colour brick = canvas.light.on(Colour(0.32F, 0.15F, 0.10F), {0, 0, -1});
  const Colour mortar = canvas.light.on(Colour(0.40F, 0.37F, 0.33F), {0, 0, -1});
  const double pixel_m = zf / canvas.f;
  curtain(canvas, zf, ground, -100.0, [&](Colour& pixel, float x, float y) {
    const float course = std::floor(y / 0.075F);
    const float offset = std::fmod(std::abs(course), 2.0F) * 0.11F;
    const float u = (x + offset) / 0.225F;
    const float iu = std::floor(u);
    const float du = std::min(u - iu, 1.0F - (u - iu)) * 0.225F;
    const float dv = std::min(y / 0.075F - course, 1.0F - (y / 0.075F - course)) * 0.075F;
    const float soft = std::max(static_cast<float>(pixel_m), 0.006F);
    // Joints narrower than a pixel only lighten it.
    const float joint =
        std::clamp(1.0F - std::min(du, dv) / soft, 0.0F, 1.0F) * std::min(1.0F, 0.012F / soft);
    const float tone = 0.85F + 0.3F * value_noise(iu, course, seed) +
                       0.15F * fractal_noise(x * 0.5F, y * 0.5F, 4, 0.6F, 0.04F, seed + 4U);
    pixel = brick * tone + joint * (mortar - brick);
  });
  for (int i = 0; i < 6; ++i) {
    const double x = rng.uniform(-0.6, 0.6) * zf;
    bar(canvas, {x, ground, zf - 0.1}, {x, -8.0, zf - 0.1}, rng.uniform(0.06, 0.14),
        canvas.light.on(Colour::Constant(static_cast<float>(rng.uniform(0.03, 0.5))), {0, 0, -1}));
  }
  for (int i = 0; i < 4; ++i) {
    const double y = -rng.uniform(0.5, 4.0);
    wire(canvas, {-0.7 * zf, y, zf - 0.15}, {0.7 * zf, y + rng.normal() * 0.4, zf - 0.15},
         rng.uniform(0.2, 1.0), 0.03, Colour(0.02F, 0.02F, 0.025F));
  }
  // Painted boards low down and a doorway.
  const double door = rng.uniform(-0.4, 0.4) * zf;
  const std::array<Eigen::Vector3d, 4> leaf{Eigen::Vector3d(door - 0.6, ground, zf - 0.1),
                                            Eigen::Vector3d(door + 0.6, ground, zf - 0.1),
                                            Eigen::Vector3d(door + 0.6, ground - 2.2, zf - 0.1),
                                            Eigen::Vector3d(door - 0.6, ground - 2.2, zf - 0.1)};
  canvas.fill(leaf, canvas.light.on(Colour(0.05F, 0.13F, 0.20F), {0, 0, -1}));
}

}  // namespace

void paint_far_scenery(Canvas& canvas, const RangeSpec& range, const MarkLeafy& mark) {
  if (range.far == "hedge") {
    hedge(canvas, range, mark);
  } else if (range.far == "hall") {
    hall(canvas, range);
  } else if (range.far == "posts") {
    posts(canvas, range, mark);
  } else if (range.far == "field") {
    field(canvas, range, mark);
  } else if (range.far == "wall") {
    wall(canvas, range);
  } else {
    wood(canvas, range, mark);
  }
}

}  // namespace clipmaker
