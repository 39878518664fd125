// Exact-area anti-aliasing of polygons: the coverage of a pixel is the area of its square inside
// the polygon, so that thin, sub-pixel shapes land with correct position and weight.
// Integer coordinates are pixel centres throughout.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace clipmaker {

using Colour = Eigen::Vector3f;  // linear light

// Half-open rectangle of pixels.
struct Box {
  int x0 = 0, y0 = 0, x1 = 0, y1 = 0;
  int width() const { return x1 - x0; }
  int height() const { return y1 - y0; }
  bool empty() const { return x1 <= x0 || y1 <= y0; }
  Box clipped(const Box& to) const;
};

// Smallest box that holds the points with one pixel to spare.
Box box_of(std::span<const Eigen::Vector2d> points);

class Coverage {
 public:
  // The polygon (either orientation, must not cross itself) clipped to `within`; afterwards `box()`
  // says which pixels may be covered, `span` which part of a row, `row` how much, 0 to 1.
  void fill(std::span<const Eigen::Vector2d> polygon, const Box& within);
  const Box& box() const { return box_; }
  const float* row(int y) const {
    return values_.data() + static_cast<std::size_t>(y - box_.y0) * stride_;
  }
  struct Row {
    int from = 0, to = 0;
  };
  // The covered stretch of a row, in picture pixels.
  Row span(int y) const {
    const Row r = spans_[static_cast<std::size_t>(y - box_.y0)];
    return {r.from + box_.x0, r.to + box_.x0};
  }

 private:
  void edge(double ax, double ay, double bx, double by);
  Box box_;
  std::vector<Row> spans_;
  std::size_t stride_ = 0;
  std::vector<float> values_;
};

// A premultiplied layer over part of the picture. It remembers which stretch of each row was
// painted, so that large, mostly empty layers (a bow string) cost what they show.
class Layer {
 public:
  struct Span {
    int from = 0, to = 0;  // half-open, picture pixels; empty when to <= from
  };
  using Pixel = std::array<float, 4>;

  void reset(const Box& box);
  const Box& box() const { return box_; }
  Span span(int y) const { return spans_[static_cast<std::size_t>(y - box_.y0)]; }
  Pixel& at(int x, int y) { return pixels_[index(x, y)]; }
  const Pixel& at(int x, int y) const { return pixels_[index(x, y)]; }
  // Paint the polygon over what is there.
  void over(std::span<const Eigen::Vector2d> polygon, const Colour& colour, float opacity = 1.0F);
  // Add it beside what is there: for pieces of one surface that share edges without overlapping.
  void beside(std::span<const Eigen::Vector2d> polygon, const Colour& colour);
  // A term of a running mean: this += weight * layer.
  void add(const Layer& layer, float weight);
  void put_over(const Layer& layer);
  // Gaussian blur inside the box.
  void blur(double sigma_px);

 private:
  std::size_t index(int x, int y) const {
    return static_cast<std::size_t>(y - box_.y0) * static_cast<std::size_t>(box_.width()) +
           static_cast<std::size_t>(x - box_.x0);
  }
  void widen(int y, int from, int to) {
    Span& s = spans_[static_cast<std::size_t>(y - box_.y0)];
    s = s.to <= s.from ? Span{from, to} : Span{std::min(s.from, from), std::max(s.to, to)};
  }
  Box box_;
  std::vector<Pixel> pixels_;
  std::vector<Span> spans_;
  Coverage coverage_;
};

}  // namespace clipmaker
