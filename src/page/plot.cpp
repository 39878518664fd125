#include "plot.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "numbers.hpp"
#include "style.hpp"

namespace nocktrail::page {
namespace {

constexpr double kLeft_px = 58.0;
constexpr double kRight_px = 16.0;
constexpr double kTop_px = 16.0;
constexpr double kBottom_px = 50.0;
// Beyond this, curves run so far outside that their numbers say nothing; also keeps SVG's
// single-precision coordinates exact.
constexpr double kFar_px = 1e5;

std::string px(double value) {
  return fmt::format("{:.1f}", std::clamp(value, -kFar_px, kFar_px));
}

Range sound(Range range) {
  if (!(std::isfinite(range.low) && std::isfinite(range.high)) || range.low > range.high) {
    return {-1.0, 1.0};
  }
  if (range.span() < 1e-9) {
    return {range.low - 1.0, range.high + 1.0};
  }
  return range;
}

}  // namespace

void Range::hold(double value) {
  if (std::isfinite(value)) {
    low = std::min(low, value);
    high = std::max(high, value);
  }
}

void Range::hold(double value, double half_width) {
  hold(value - half_width);
  hold(value + half_width);
}

Range Range::widened(double share) const {
  return {low - share * span(), high + share * span()};
}

double tick_step(double span, int wanted) {
  const double rough = span / wanted;
  const double power = std::pow(10.0, std::floor(std::log10(rough)));
  for (const double factor : {1.0, 2.0, 5.0}) {
    if (factor * power >= rough) {
      return factor * power;
    }
  }
  return 10.0 * power;
}

Plot::Plot(pugi::xml_node svg, std::string id, double height_px, Range x, Range y, bool same_scale)
    : svg_(svg), height_px_(height_px), x_(sound(x)), y_(sound(y)) {
  if (same_scale) {
    const double x_per_px = x_.span() / (right_px() - left_px());
    const double y_per_px = y_.span() / (bottom_px() - top_px());
    if (x_per_px < y_per_px) {
      x_ = x_.widened(0.5 * (y_per_px / x_per_px - 1.0));
    } else {
      y_ = y_.widened(0.5 * (x_per_px / y_per_px - 1.0));
    }
  }
  const std::string clip = std::move(id) + "-inside";
  const pugi::xml_node shape = element(element(svg_, "defs"), "clipPath", {{"id", clip}});
  element(shape, "rect",
          {{"x", px(left_px())},
           {"y", px(top_px())},
           {"width", px(right_px() - left_px())},
           {"height", px(bottom_px() - top_px())}});
  inside_ = element(svg_, "g", {{"clip-path", fmt::format("url(#{})", clip)}});
}

double Plot::left_px() const {
  return kLeft_px;
}
double Plot::right_px() const {
  return kWidth_px - kRight_px;
}
double Plot::top_px() const {
  return kTop_px;
}
double Plot::bottom_px() const {
  return height_px_ - kBottom_px;
}

double Plot::x(double value) const {
  return left_px() + (value - x_.low) / x_.span() * (right_px() - left_px());
}

double Plot::y(double value) const {
  return bottom_px() - (value - y_.low) / y_.span() * (bottom_px() - top_px());
}

bool Plot::drawable(double at_x, double at_y) const {
  return std::isfinite(x(at_x)) && std::isfinite(y(at_y));
}

void Plot::dead_band_y(double half_height) {
  area({{x_.low, -half_height},
        {x_.high, -half_height},
        {x_.high, half_height},
        {x_.low, half_height}},
       kDeadBand, 1.0);
}

void Plot::dead_square(double half_width) {
  area({{-half_width, -half_width},
        {half_width, -half_width},
        {half_width, half_width},
        {-half_width, half_width}},
       kDeadBand, 1.0, kSoft, "2 2");
}

void Plot::frame_and_y_axis(const std::string& y_name, int y_decimals) {
  const double step = tick_step(y_.span(), 6);
  const int decimals = std::max(y_decimals, static_cast<int>(-std::floor(std::log10(step) + 1e-9)));
  for (double k = std::ceil(y_.low / step); k * step <= y_.high; k += 1.0) {
    const double value = k * step;
    line(x_.low, value, x_.high, value, k == 0.0 ? kInk : kGrid, k == 0.0 ? 1.3 : 0.8);
    words(left_px() - 6.0, y(value) + 4.5, "end", signed_number(value, decimals), kInk);
  }
  element(svg_, "rect",
          {{"x", px(left_px())},
           {"y", px(top_px())},
           {"width", px(right_px() - left_px())},
           {"height", px(bottom_px() - top_px())},
           {"fill", "none"},
           {"stroke", kInk}});
  const double middle = 0.5 * (top_px() + bottom_px());
  element(svg_, "text",
          {{"x", "15"},
           {"y", px(middle)},
           {"text-anchor", "middle"},
           {"font-size", "13"},
           {"fill", kInk},
           {"transform", fmt::format("rotate(-90 15 {})", px(middle))}},
          y_name);
}

void Plot::axes(const std::string& x_name, const std::string& y_name, int x_decimals,
                int y_decimals, bool x_signed) {
  const double step = tick_step(x_.span(), 6);
  const int decimals = std::max(x_decimals, static_cast<int>(-std::floor(std::log10(step) + 1e-9)));
  for (double k = std::ceil(x_.low / step); k * step <= x_.high; k += 1.0) {
    const double value = k * step + 0.0;  // -0 is written with its sign
    const bool zero_line = x_signed && k == 0.0;
    line(value, y_.low, value, y_.high, zero_line ? kInk : kGrid, zero_line ? 1.3 : 0.8);
    words(x(value), bottom_px() + 17.0, "middle",
          x_signed ? signed_number(value, decimals) : fmt::format("{:.{}f}", value, decimals),
          kInk);
  }
  frame_and_y_axis(y_name, y_decimals);
  words(0.5 * (left_px() + right_px()), bottom_px() + 38.0, "middle", x_name, kInk);
}

void Plot::named_axes(const std::vector<std::string>& x_names, const std::string& y_name,
                      int y_decimals) {
  frame_and_y_axis(y_name, y_decimals);
  for (std::size_t i = 0; i < x_names.size(); ++i) {
    words(x(static_cast<double>(i + 1)), bottom_px() + 17.0, "middle", x_names[i], kInk);
  }
}

pugi::xml_node Plot::line(double x1, double y1, double x2, double y2, const char* colour,
                          double width_px, const char* dash) {
  if (!drawable(x1, y1) || !drawable(x2, y2)) {
    return {};
  }
  pugi::xml_node node = element(inside_, "line",
                                {{"x1", px(x(x1))},
                                 {"y1", px(y(y1))},
                                 {"x2", px(x(x2))},
                                 {"y2", px(y(y2))},
                                 {"stroke", colour},
                                 {"stroke-width", fmt::format("{:g}", width_px)}});
  if (*dash != '\0') {
    node.append_attribute("stroke-dasharray").set_value(dash);
  }
  return node;
}

void Plot::curve(const std::vector<Eigen::Vector2d>& points, const char* colour, double width_px,
                 const char* dash) {
  std::string places;
  for (const Eigen::Vector2d& point : points) {
    if (drawable(point.x(), point.y())) {
      places += fmt::format("{},{} ", px(x(point.x())), px(y(point.y())));
    }
  }
  pugi::xml_node node = element(inside_, "polyline",
                                {{"points", places},
                                 {"fill", "none"},
                                 {"stroke", colour},
                                 {"stroke-width", fmt::format("{:g}", width_px)}});
  if (*dash != '\0') {
    node.append_attribute("stroke-dasharray").set_value(dash);
  }
}

void Plot::area(const std::vector<Eigen::Vector2d>& points, const char* fill, double opacity,
                const char* outline, const char* dash) {
  std::string places;
  for (const Eigen::Vector2d& point : points) {
    if (drawable(point.x(), point.y())) {
      places += fmt::format("{},{} ", px(x(point.x())), px(y(point.y())));
    }
  }
  pugi::xml_node node =
      element(inside_, "polygon",
              {{"points", places}, {"fill", fill}, {"fill-opacity", fmt::format("{:g}", opacity)}});
  if (*outline != '\0') {
    node.append_attribute("stroke").set_value(outline);
    node.append_attribute("stroke-width").set_value("1.6");
  }
  if (*dash != '\0') {
    node.append_attribute("stroke-dasharray").set_value(dash);
  }
}

void Plot::error_bar_y(double at_x, double middle, double half, const char* colour,
                       double width_px) {
  line(at_x, middle - half, at_x, middle + half, colour, width_px);
}

void Plot::error_bar_x(double at_y, double middle, double half, const char* colour,
                       double width_px) {
  line(middle - half, at_y, middle + half, at_y, colour, width_px);
}

void Plot::mark(double at_x, double at_y, Mark shape, const char* colour, double radius_px) {
  if (!drawable(at_x, at_y)) {
    return;
  }
  const double px_x = x(at_x);
  const double px_y = y(at_y);
  const double r = radius_px;
  const auto path = [&](const std::string& d, bool filled) {
    element(inside_, "path",
            {{"d", d},
             {"fill", filled ? colour : (shape == Mark::cross ? "none" : "#ffffff")},
             {"stroke", colour},
             {"stroke-width", "1.8"}});
  };
  switch (shape) {
    case Mark::dot:
    case Mark::ring:
      element(inside_, "circle",
              {{"cx", px(px_x)},
               {"cy", px(px_y)},
               {"r", fmt::format("{:g}", r)},
               {"fill", shape == Mark::dot ? colour : "#ffffff"},
               {"stroke", colour},
               {"stroke-width", "1.8"}});
      break;
    case Mark::square:
      path(fmt::format("M{} {}h{:g}v{:g}h{:g}z", px(px_x - r), px(px_y - r), 2 * r, 2 * r, -2 * r),
           false);
      break;
    case Mark::diamond:
      path(fmt::format("M{} {}l{:g} {:g}l{:g} {:g}l{:g} {:g}z", px(px_x), px(px_y - 1.4 * r),
                       1.4 * r, 1.4 * r, -1.4 * r, 1.4 * r, -1.4 * r, -1.4 * r),
           false);
      break;
    case Mark::cross:
      path(fmt::format("M{} {}l{:g} {:g}M{} {}l{:g} {:g}", px(px_x - r), px(px_y - r), 2 * r, 2 * r,
                       px(px_x - r), px(px_y + r), 2 * r, -2 * r),
           false);
      break;
  }
}

void Plot::label(double at_x, double at_y, double right_px, double down_px, const char* anchor,
                 const std::string& said, const char* colour) {
  if (drawable(at_x, at_y) && at_x >= x_.low && at_x <= x_.high && at_y >= y_.low &&
      at_y <= y_.high) {
    words(x(at_x) + right_px, y(at_y) + down_px, anchor, said, colour);
  }
}

void Plot::words(double px_x, double px_y, const char* anchor, const std::string& said,
                 const char* colour, int size_px) {
  element(svg_, "text",
          {{"x", px(px_x)},
           {"y", px(px_y)},
           {"text-anchor", anchor},
           {"font-size", std::to_string(size_px)},
           {"fill", colour}},
          said);
}

}  // namespace nocktrail::page
