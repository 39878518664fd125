#include "picture.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace clipmaker {
namespace {

constexpr float kLumaScale = 219.0F * 256.0F;
constexpr float kLumaZero = 16.0F * 256.0F;
constexpr float kChromaScale = 224.0F * 256.0F;
constexpr float kChromaZero = 128.0F * 256.0F;
constexpr int kCell = 16;  // display pixels between nodes of a mapping

float oetf(float l) {
  return l < 0.018F ? 4.5F * l : 1.099F * std::pow(l, 0.45F) - 0.099F;
}
float inverse_oetf(float v) {
  return v < 0.081F ? v / 4.5F : std::pow((v + 0.099F) / 1.099F, 1.0F / 0.45F);
}

// Tables for both directions; to_signal's is in the square root of light, where the curve is tame.
constexpr int kTable = 4096;
struct Tables {
  std::array<float, kTable + 2> signal{};
  std::array<float, kTable + 2> linear{};
  Tables() {
    for (std::size_t i = 0; i < kTable + 2; ++i) {
      const float x = static_cast<float>(i) / kTable;
      signal[i] = oetf(x * x);
      linear[i] = inverse_oetf(x);
    }
  }
};
const Tables& tables() {
  static const Tables instance;
  return instance;
}

float look_up(const std::array<float, kTable + 2>& table, float x) {
  const float p = std::clamp(x, 0.0F, 1.0F) * kTable;
  const auto i = static_cast<std::size_t>(p);
  const float f = p - static_cast<float>(i);
  return table[i] + f * (table[i + 1] - table[i]);
}

Colour signal_of(const Colour& linear) {
  return {to_signal(linear.x()), to_signal(linear.y()), to_signal(linear.z())};
}

struct Ycc {
  float y, cb, cr;  // y 0..1, cb and cr -0.5..0.5
};
Ycc ycc_of(const Colour& s) {
  const float y = 0.2126F * s.x() + 0.7152F * s.y() + 0.0722F * s.z();
  return {y, (s.z() - y) / 1.8556F, (s.x() - y) / 1.5748F};
}
Colour rgb_of(float y, float cb, float cr) {
  const float r = y + 1.5748F * cr;
  const float b = y + 1.8556F * cb;
  const float g = (y - 0.2126F * r - 0.0722F * b) / 0.7152F;
  return {std::clamp(r, 0.0F, 1.0F), std::clamp(g, 0.0F, 1.0F), std::clamp(b, 0.0F, 1.0F)};
}
std::uint16_t luma_code(float y) {
  return static_cast<std::uint16_t>(std::clamp(kLumaZero + kLumaScale * y, 0.0F, 65279.0F));
}
std::uint16_t chroma_code(float c) {
  return static_cast<std::uint16_t>(std::clamp(kChromaZero + kChromaScale * c, 0.0F, 65279.0F));
}

Colour light_of(float y, float cb, float cr) {
  const Colour s = rgb_of(y, cb, cr);
  return {to_linear(s.x()), to_linear(s.y()), to_linear(s.z())};
}

// Change light where a layer was painted: `change(pixel, light)` turns the light there into the
// new.
template <typename Change>
void relight(Picture& picture, const Layer& layer, Change change) {
  const Box b = layer.box().clipped({0, 0, picture.width, picture.height});
  if (b.empty()) {
    return;
  }
  const auto span = [&](int y) {
    Layer::Span s = y < b.y0 || y >= b.y1 ? Layer::Span{} : layer.span(y);
    s = {std::max(s.from, b.x0), std::min(s.to, b.x1)};
    return s.to <= s.from ? Layer::Span{picture.width, 0} : s;
  };
  for (int by = b.y0 / 2; by <= (b.y1 - 1) / 2; ++by) {
    const std::array<Layer::Span, 2> rows{span(2 * by), span(2 * by + 1)};
    std::uint16_t* chroma = picture.chroma_row(by);
    const int first = std::min(rows[0].from, rows[1].from) / 2;
    const int last = (std::max(rows[0].to, rows[1].to) + 1) / 2;
    for (int bx = first; bx < last; ++bx) {
      const float cb = (static_cast<float>(chroma[2 * bx]) - kChromaZero) / kChromaScale;
      const float cr = (static_cast<float>(chroma[2 * bx + 1]) - kChromaZero) / kChromaScale;
      float shift_cb = 0.0F;
      float shift_cr = 0.0F;
      bool touched = false;
      for (std::size_t j = 0; j < 2; ++j) {
        std::uint16_t* luma = picture.luma_row(2 * by + static_cast<int>(j));
        for (int x = std::max(2 * bx, rows[j].from); x < std::min(2 * bx + 2, rows[j].to); ++x) {
          const Layer::Pixel& p = layer.at(x, 2 * by + static_cast<int>(j));
          if (p[3] < 1e-4F) {
            continue;
          }
          const float y = (static_cast<float>(luma[x]) - kLumaZero) / kLumaScale;
          touched = true;
          const Ycc after = ycc_of(signal_of(change(p, light_of(y, cb, cr))));
          luma[x] = luma_code(after.y);
          shift_cb += after.cb - cb;
          shift_cr += after.cr - cr;
        }
      }
      if (touched) {
        chroma[2 * bx] = chroma_code(cb + 0.25F * shift_cb);
        chroma[2 * bx + 1] = chroma_code(cr + 0.25F * shift_cr);
      }
    }
  }
}

// Source coordinates at the nodes of a grid laid over part of a plane.
struct Nodes {
  int x0 = 0, y0 = 0;  // plane pixel of the first node
  int cell = kCell;
  int columns = 0;
  std::vector<Eigen::Vector2f> at;
};

// scale: display pixels per plane pixel (1 luma, 2 chroma).
Nodes nodes_over(const Mapping& map, const Box& box, int scale) {
  Nodes nodes;
  nodes.x0 = box.x0;
  nodes.y0 = box.y0;
  nodes.cell = kCell / scale;
  nodes.columns = (box.width() + nodes.cell - 1) / nodes.cell + 1;
  const int rows = (box.height() + nodes.cell - 1) / nodes.cell + 1;
  nodes.at.reserve(static_cast<std::size_t>(nodes.columns) * static_cast<std::size_t>(rows));
  const double offset = 0.5 * (scale - 1);
  for (int j = 0; j < rows; ++j) {
    for (int i = 0; i < nodes.columns; ++i) {
      const Eigen::Vector2d display(scale * (box.x0 + i * nodes.cell) + offset,
                                    scale * (box.y0 + j * nodes.cell) + offset);
      const Eigen::Vector2d source = map(display.x(), display.y());
      nodes.at.emplace_back(
          (source.cast<float>() - Eigen::Vector2f::Constant(static_cast<float>(offset))) /
          static_cast<float>(scale));
    }
  }
  return nodes;
}

// Walks one row of the plane; for each pixel calls put(x, sx, sy) with 24.8 fixed-point source
// coordinates clamped inside the source.
template <typename Put>
void walk_row(const Nodes& nodes, const Box& box, int y, int source_w, int source_h, Put put) {
  const int j = (y - nodes.y0) / nodes.cell;
  const float v = static_cast<float>((y - nodes.y0) % nodes.cell) / static_cast<float>(nodes.cell);
  const std::size_t base = static_cast<std::size_t>(j) * static_cast<std::size_t>(nodes.columns);
  const int limit_x = (source_w - 2) * 256 + 255;
  const int limit_y = (source_h - 2) * 256 + 255;
  for (int i = 0; i + 1 < nodes.columns; ++i) {
    const std::size_t at = base + static_cast<std::size_t>(i);
    const std::size_t below = at + static_cast<std::size_t>(nodes.columns);
    const Eigen::Vector2f left = nodes.at[at] + v * (nodes.at[below] - nodes.at[at]);
    const Eigen::Vector2f right = nodes.at[at + 1] + v * (nodes.at[below + 1] - nodes.at[at + 1]);
    // 16.16 within the cell keeps the steps accurate to far better than 1/256 pixel.
    auto sx = static_cast<std::int64_t>(left.x() * 65536.0F);
    auto sy = static_cast<std::int64_t>(left.y() * 65536.0F);
    const auto dx = static_cast<std::int64_t>((right.x() - left.x()) * 65536.0F) / nodes.cell;
    const auto dy = static_cast<std::int64_t>((right.y() - left.y()) * 65536.0F) / nodes.cell;
    sx += 128;
    sy += 128;
    const int from = nodes.x0 + i * nodes.cell;
    const int to = std::min(from + nodes.cell, box.x1);
    for (int x = from; x < to; ++x) {
      put(x, std::clamp(static_cast<int>(sx >> 8), 0, limit_x),
          std::clamp(static_cast<int>(sy >> 8), 0, limit_y));
      sx += dx;
      sy += dy;
    }
  }
}

// Bilinear fetch of one component; `step` values per pixel.
std::uint32_t fetch(const std::uint16_t* plane, int stride, int step, int sx, int sy) {
  const auto fx = static_cast<std::uint32_t>(sx & 255);
  const auto fy = static_cast<std::uint32_t>(sy & 255);
  const std::uint16_t* p = plane + static_cast<std::ptrdiff_t>(sy >> 8) * stride +
                           static_cast<std::ptrdiff_t>(sx >> 8) * step;
  const std::uint32_t top = (p[0] * (256U - fx) + p[step] * fx) >> 8U;
  const std::uint32_t bottom = (p[stride] * (256U - fx) + p[stride + step] * fx) >> 8U;
  return (top * (256U - fy) + bottom * fy) >> 8U;
}

Box half(const Box& b) {
  return {b.x0 / 2, b.y0 / 2, (b.x1 + 1) / 2, (b.y1 + 1) / 2};
}

}  // namespace

float to_signal(float linear) {
  return look_up(tables().signal, std::sqrt(std::max(linear, 0.0F)));
}
float to_linear(float signal) {
  return look_up(tables().linear, signal);
}

void Picture::resize(int w, int h) {
  width = w;
  height = h;
  luma.resize(static_cast<std::size_t>(w) * static_cast<std::size_t>(h));
  chroma.resize(static_cast<std::size_t>(w) * static_cast<std::size_t>(h / 2));
}

void LinearImage::resize(int w, int h, const Colour& colour) {
  width = w;
  height = h;
  pixels.assign(static_cast<std::size_t>(w) * static_cast<std::size_t>(h), colour);
}

void LinearImage::fill(std::span<const Eigen::Vector2d> polygon, const Colour& colour,
                       float opacity) {
  coverage_.fill(polygon, {0, 0, width, height});
  const Box& b = coverage_.box();
  for (int y = b.y0; y < b.y1; ++y) {
    const float* line = coverage_.row(y);
    const Coverage::Row s = coverage_.span(y);
    for (int x = s.from; x < s.to; ++x) {
      const float a = line[x - b.x0] * opacity;
      if (a > 0.0F) {
        Colour& p = at(x, y);
        p += a * (colour - p);
      }
    }
  }
}

void LinearImage::shade(std::span<const Eigen::Vector2d> polygon,
                        const std::function<Colour(int x, int y)>& colour) {
  coverage_.fill(polygon, {0, 0, width, height});
  const Box& b = coverage_.box();
  for (int y = b.y0; y < b.y1; ++y) {
    const float* line = coverage_.row(y);
    const Coverage::Row s = coverage_.span(y);
    for (int x = s.from; x < s.to; ++x) {
      const float a = line[x - b.x0];
      if (a > 0.0F) {
        Colour& p = at(x, y);
        p += a * (colour(x, y) - p);
      }
    }
  }
}

Picture to_picture(const LinearImage& image) {
  Picture out;
  out.resize(image.width & ~1, image.height & ~1);
  for (int by = 0; by < out.height / 2; ++by) {
    std::uint16_t* chroma = out.chroma_row(by);
    for (int bx = 0; bx < out.width / 2; ++bx) {
      float cb = 0.0F;
      float cr = 0.0F;
      for (int j = 0; j < 2; ++j) {
        for (int i = 0; i < 2; ++i) {
          const Ycc p = ycc_of(signal_of(image.at(2 * bx + i, 2 * by + j)));
          out.luma_row(2 * by + j)[2 * bx + i] = luma_code(p.y);
          cb += p.cb;
          cr += p.cr;
        }
      }
      chroma[2 * bx] = chroma_code(0.25F * cb);
      chroma[2 * bx + 1] = chroma_code(0.25F * cr);
    }
  }
  return out;
}

void composite(Picture& picture, const Layer& layer) {
  relight(picture, layer, [](const Layer::Pixel& p, const Colour& light) -> Colour {
    return light * (1.0F - std::min(p[3], 1.0F)) + Colour(p[0], p[1], p[2]);
  });
}

void darken(Picture& picture, const Layer& layer, float strength) {
  relight(picture, layer, [strength](const Layer::Pixel& p, const Colour& light) -> Colour {
    return light * (1.0F - strength * std::min(p[3], 1.0F));
  });
}

void warp(const Picture& source, const Mapping& map, Picture& out) {
  const Box full{0, 0, out.width, out.height};
  const Nodes luma = nodes_over(map, full, 1);
  for (int y = 0; y < out.height; ++y) {
    std::uint16_t* to = out.luma_row(y);
    walk_row(luma, full, y, source.width, source.height, [&](int x, int sx, int sy) {
      to[x] = static_cast<std::uint16_t>(fetch(source.luma.data(), source.width, 1, sx, sy));
    });
  }
  const Box small{0, 0, out.width / 2, out.height / 2};
  const Nodes chroma = nodes_over(map, small, 2);
  for (int y = 0; y < small.y1; ++y) {
    std::uint16_t* to = out.chroma_row(y);
    walk_row(chroma, small, y, source.width / 2, source.height / 2, [&](int x, int sx, int sy) {
      to[2 * x] = static_cast<std::uint16_t>(fetch(source.chroma.data(), source.width, 2, sx, sy));
      to[2 * x + 1] =
          static_cast<std::uint16_t>(fetch(source.chroma.data() + 1, source.width, 2, sx, sy));
    });
  }
}

void warp_over(const Sprite& source, const Mapping& map, const Box& where, Picture& out) {
  Box box = where.clipped({0, 0, out.width, out.height});
  box = {box.x0 & ~1, box.y0 & ~1, box.x1, box.y1};
  if (box.empty()) {
    return;
  }
  const Picture& c = source.colours;
  const auto mix = [](std::uint16_t& under, std::uint32_t over, std::uint32_t a) {
    // a in 0..65280.
    under = static_cast<std::uint16_t>(
        (static_cast<std::uint64_t>(under) * (65280U - a) + static_cast<std::uint64_t>(over) * a) /
        65280U);
  };
  const Nodes luma = nodes_over(map, box, 1);
  for (int y = box.y0; y < box.y1; ++y) {
    std::uint16_t* to = out.luma_row(y);
    walk_row(luma, box, y, c.width, c.height, [&](int x, int sx, int sy) {
      const std::uint32_t a = fetch(source.opacity.data(), c.width, 1, sx, sy);
      if (a > 0U) {
        mix(to[x], fetch(c.luma.data(), c.width, 1, sx, sy), a);
      }
    });
  }
  const Box small = half(box).clipped({0, 0, out.width / 2, out.height / 2});
  const Nodes chroma = nodes_over(map, small, 2);
  for (int y = small.y0; y < small.y1; ++y) {
    std::uint16_t* to = out.chroma_row(y);
    walk_row(chroma, small, y, c.width / 2, c.height / 2, [&](int x, int sx, int sy) {
      const std::uint32_t a = fetch(source.half_opacity.data(), c.width / 2, 1, sx, sy);
      if (a > 0U) {
        mix(to[2 * x], fetch(c.chroma.data(), c.width, 2, sx, sy), a);
        mix(to[2 * x + 1], fetch(c.chroma.data() + 1, c.width, 2, sx, sy), a);
      }
    });
  }
}

}  // namespace clipmaker
