#include "raster.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace clipmaker {

Box Box::clipped(const Box& to) const {
  return {std::max(x0, to.x0), std::max(y0, to.y0), std::min(x1, to.x1), std::min(y1, to.y1)};
}

Box box_of(std::span<const Eigen::Vector2d> points) {
  double left = 1e9;
  double right = -1e9;
  double top = 1e9;
  double bottom = -1e9;
  for (const Eigen::Vector2d& p : points) {
    left = std::min(left, p.x());
    right = std::max(right, p.x());
    top = std::min(top, p.y());
    bottom = std::max(bottom, p.y());
  }
  if (left > right) {
    return {};
  }
  const auto low = [](double v) { return static_cast<int>(std::floor(std::max(v, -1e6))) - 1; };
  const auto high = [](double v) { return static_cast<int>(std::ceil(std::min(v, 1e6))) + 2; };
  return {low(left), low(top), high(right), high(bottom)};
}

void Coverage::fill(std::span<const Eigen::Vector2d> polygon, const Box& within) {
  box_ = box_of(polygon).clipped(within);
  if (box_.empty()) {
    box_ = {};
    return;
  }
  stride_ = static_cast<std::size_t>(box_.width()) + 2;
  values_.assign(stride_ * static_cast<std::size_t>(box_.height()), 0.0F);
  spans_.assign(static_cast<std::size_t>(box_.height()), {box_.width(), 0});
  for (std::size_t i = 0; i < polygon.size(); ++i) {
    const Eigen::Vector2d& a = polygon[i];
    const Eigen::Vector2d& b = polygon[(i + 1) % polygon.size()];
    // Pixel i reaches from i - 0.5 to i + 0.5.
    edge(a.x() + 0.5 - box_.x0, a.y() + 0.5 - box_.y0, b.x() + 0.5 - box_.x0,
         b.y() + 0.5 - box_.y0);
  }
  for (int y = 0; y < box_.height(); ++y) {
    // All edges of the row lie within its span; to the right of it the sum is zero again.
    auto& [from, to] = spans_[static_cast<std::size_t>(y)];
    to = std::min(to, box_.width());
    float* line = values_.data() + static_cast<std::size_t>(y) * stride_;
    float sum = 0.0F;
    for (int x = from; x < to; ++x) {
      sum += line[x];
      line[x] = std::min(std::abs(sum), 1.0F);
    }
  }
}

// Adds the signed area to the right of an edge, row by row, as differences along the row.
void Coverage::edge(double ax, double ay, double bx, double by) {
  if (ay == by) {
    return;
  }
  const double sign = ay < by ? 1.0 : -1.0;
  if (ay > by) {
    std::swap(ax, bx);
    std::swap(ay, by);
  }
  const double slope = (bx - ax) / (by - ay);
  const double height = box_.height();
  const double width = box_.width();
  if (by <= 0.0 || ay >= height) {
    return;
  }
  const double top = std::max(ay, 0.0);
  const double bottom = std::min(by, height);
  for (int row = static_cast<int>(top); row < bottom; ++row) {
    const double y0 = std::max<double>(row, top);
    const double y1 = std::min<double>(row + 1, bottom);
    const double dy = y1 - y0;
    if (dy <= 0.0) {
      continue;
    }
    float* line = values_.data() + static_cast<std::size_t>(row) * stride_;
    const double d = sign * dy;
    double xa = std::clamp(ax + slope * (y0 - ay), 0.0, width);
    double xb = std::clamp(ax + slope * (y1 - ay), 0.0, width);
    if (xa > xb) {
      std::swap(xa, xb);
    }
    const int first = static_cast<int>(xa);
    const int last = static_cast<int>(std::ceil(xb));
    Row& span = spans_[static_cast<std::size_t>(row)];
    span.from = std::min(span.from, first);
    span.to = std::max({span.to, last + 1, first + 1});
    if (last <= first + 1) {
      const double middle = 0.5 * (xa + xb) - first;
      line[first] += static_cast<float>(d * (1.0 - middle));
      line[first + 1] += static_cast<float>(d * middle);
      continue;
    }
    // The edge crosses several pixels of the row: the integral of the covered share of each.
    const double inverse = 1.0 / (xb - xa);
    double before = 0.0;
    for (int x = first; x < last; ++x) {
      // Area to the right of the edge within pixel x, per unit of d.
      const double from = std::max<double>(xa, x);
      const double to = std::min<double>(xb, x + 1);
      const double passed = (std::min<double>(xb, x + 1) - xa) * inverse;  // of the edge's height
      const double until = (from - xa) * inverse;
      const double area = until + (passed - until) * (x + 1 - 0.5 * (from + to));
      line[x] += static_cast<float>(d * (area - before));
      before = area;
    }
    line[last] += static_cast<float>(d * (1.0 - before));
  }
}

void Layer::reset(const Box& box) {
  // Outside the painted spans everything is zero already.
  for (int y = box_.y0; y < box_.y1; ++y) {
    const Span s = span(y);
    if (s.to > s.from) {
      std::fill_n(pixels_.begin() + static_cast<std::ptrdiff_t>(index(s.from, y)), s.to - s.from,
                  Pixel{});
    }
  }
  box_ = box.empty() ? Box{} : box;
  const auto size =
      static_cast<std::size_t>(box_.width()) * static_cast<std::size_t>(box_.height());
  if (pixels_.size() < size) {
    pixels_.resize(size, Pixel{});
  }
  spans_.assign(static_cast<std::size_t>(box_.height()), Span{});
}

void Layer::over(std::span<const Eigen::Vector2d> polygon, const Colour& colour, float opacity) {
  coverage_.fill(polygon, box_);
  const Box& b = coverage_.box();
  for (int y = b.y0; y < b.y1; ++y) {
    const float* line = coverage_.row(y);
    const Coverage::Row s = coverage_.span(y);
    if (s.to <= s.from) {
      continue;
    }
    widen(y, s.from, s.to);
    for (int x = s.from; x < s.to; ++x) {
      const float a = line[x - b.x0] * opacity;
      Pixel& p = at(x, y);
      const float keep = 1.0F - a;
      p[0] = p[0] * keep + a * colour.x();
      p[1] = p[1] * keep + a * colour.y();
      p[2] = p[2] * keep + a * colour.z();
      p[3] = p[3] * keep + a;
    }
  }
}

void Layer::beside(std::span<const Eigen::Vector2d> polygon, const Colour& colour) {
  coverage_.fill(polygon, box_);
  const Box& b = coverage_.box();
  for (int y = b.y0; y < b.y1; ++y) {
    const float* line = coverage_.row(y);
    const Coverage::Row s = coverage_.span(y);
    if (s.to <= s.from) {
      continue;
    }
    widen(y, s.from, s.to);
    for (int x = s.from; x < s.to; ++x) {
      Pixel& p = at(x, y);
      const float a = std::min(line[x - b.x0], 1.0F - p[3]);
      p[0] += a * colour.x();
      p[1] += a * colour.y();
      p[2] += a * colour.z();
      p[3] += a;
    }
  }
}

void Layer::add(const Layer& layer, float weight) {
  const Box b = layer.box_.clipped(box_);
  for (int y = b.y0; y < b.y1; ++y) {
    const Span s = layer.span(y);
    const int from = std::max(s.from, b.x0);
    const int to = std::min(s.to, b.x1);
    if (to <= from) {
      continue;
    }
    widen(y, from, to);
    for (int x = from; x < to; ++x) {
      const Pixel& source = layer.at(x, y);
      Pixel& target = at(x, y);
      for (std::size_t i = 0; i < 4; ++i) {
        target[i] += weight * source[i];
      }
    }
  }
}

void Layer::put_over(const Layer& layer) {
  const Box b = layer.box_.clipped(box_);
  for (int y = b.y0; y < b.y1; ++y) {
    const Span s = layer.span(y);
    const int from = std::max(s.from, b.x0);
    const int to = std::min(s.to, b.x1);
    if (to <= from) {
      continue;
    }
    widen(y, from, to);
    for (int x = from; x < to; ++x) {
      const Pixel& source = layer.at(x, y);
      Pixel& target = at(x, y);
      const float keep = 1.0F - source[3];
      for (std::size_t i = 0; i < 4; ++i) {
        target[i] = target[i] * keep + source[i];
      }
    }
  }
}

void Layer::blur(double sigma) {
  if (box_.empty() || sigma < 0.05) {
    return;
  }
  cv::Mat pixels(box_.height(), box_.width(), CV_32FC4, pixels_.data());
  const int reach = std::max(1, static_cast<int>(std::ceil(3.0 * sigma)));
  cv::GaussianBlur(pixels, pixels, cv::Size(2 * reach + 1, 2 * reach + 1), sigma, sigma,
                   cv::BORDER_CONSTANT);
  spans_.assign(spans_.size(), Span{box_.x0, box_.x1});
}

}  // namespace clipmaker
