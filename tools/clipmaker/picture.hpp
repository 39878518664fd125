// The picture in the making: Y'CbCr (BT.709, limited range) in 8.8 fixed point with half-size
// chroma, its conversion to and from linear light, and warping.
#pragma once

#include <cstdint>
#include <functional>
#include <vector>

#include "raster.hpp"

namespace clipmaker {

// BT.709 opto-electronic transfer: V = 1.099 L^0.45 - 0.099, 4.5 L below 0.018.
float to_signal(float linear);
float to_linear(float signal);

struct Picture {
  int width = 0;
  int height = 0;
  std::vector<std::uint16_t> luma;    // 256 * code value
  std::vector<std::uint16_t> chroma;  // Cb, Cr interleaved, (width / 2) x (height / 2)

  void resize(int w, int h);
  std::uint16_t* luma_row(int y) {
    return luma.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width);
  }
  const std::uint16_t* luma_row(int y) const {
    return luma.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width);
  }
  // Row of pairs.
  std::uint16_t* chroma_row(int y) {
    return chroma.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width);
  }
  const std::uint16_t* chroma_row(int y) const {
    return chroma.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width);
  }
};

// A whole picture in linear light, for scenes painted once.
struct LinearImage {
  int width = 0;
  int height = 0;
  std::vector<Colour> pixels;
  void resize(int w, int h, const Colour& colour);
  Colour& at(int x, int y) {
    return pixels[static_cast<std::size_t>(y) * static_cast<std::size_t>(width) +
                  static_cast<std::size_t>(x)];
  }
  const Colour& at(int x, int y) const {
    return pixels[static_cast<std::size_t>(y) * static_cast<std::size_t>(width) +
                  static_cast<std::size_t>(x)];
  }
  // Polygon painted with one colour, or with a colour per pixel.
  void fill(std::span<const Eigen::Vector2d> polygon, const Colour& colour, float opacity = 1.0F);
  void shade(std::span<const Eigen::Vector2d> polygon,
             const std::function<Colour(int x, int y)>& colour);

 private:
  Coverage coverage_;
};

Picture to_picture(const LinearImage& image);

// Lay a premultiplied linear layer over the picture.
void composite(Picture& picture, const Layer& layer);
// Multiply light by (1 - strength * alpha): shadows.
void darken(Picture& picture, const Layer& layer, float strength);

// A picture with opacity, for parts of the scene painted once and moved about.
struct Sprite {
  Picture colours;
  std::vector<std::uint16_t> opacity;       // 0..65280 (= 255 * 256), full size
  std::vector<std::uint16_t> half_opacity;  // chroma size
};

// Where to fetch from: for a display pixel (x, y) the source pixel. Evaluated on a grid of 16
// pixels and interpolated between, so it must be smooth on that scale.
using Mapping = std::function<Eigen::Vector2d(double x, double y)>;

void warp(const Picture& source, const Mapping& map, Picture& out);
void warp_over(const Sprite& source, const Mapping& map, const Box& where, Picture& out);

}  // namespace clipmaker
