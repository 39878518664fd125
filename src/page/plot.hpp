// A plot in SVG: axes with even ticks, and marks given in the plot's own quantities.
#pragma once

#include <Eigen/Core>
#include <pugixml.hpp>
#include <string>
#include <vector>

#include "html.hpp"

namespace nocktrail::page {

struct Range {
  double low = 0.0;
  double high = 0.0;
  double span() const { return high - low; }
  // Grows to hold `value`; what is not finite is passed over.
  void hold(double value);
  void hold(double value, double half_width);
  Range widened(double share) const;
};

// An even distance between ticks, 1, 2 or 5 times a power of ten, about `wanted` in the span.
double tick_step(double span, int wanted);

class Plot {
 public:
  static constexpr double kWidth_px = 420.0;

  // Draws into `svg` of kWidth_px by height_px; `id` is unique in the page. A range without span is
  // widened.
  Plot(pugi::xml_node svg, std::string id, double height_px, Range x, Range y, bool same_scale);

  double x(double value) const;
  double y(double value) const;
  const Range& x_range() const { return x_; }
  const Range& y_range() const { return y_; }
  double left_px() const;
  double right_px() const;
  double top_px() const;
  double bottom_px() const;

  // The band |y| < half_height (or |x| < half_width), behind everything: draw it first.
  void dead_band_y(double half_height);
  void dead_square(double half_width);
  void axes(const std::string& x_name, const std::string& y_name, int x_decimals, int y_decimals,
            bool x_signed);
  // Ticks named by hand, for set-ups in a row.
  void named_axes(const std::vector<std::string>& x_names, const std::string& y_name,
                  int y_decimals);

  // Marks in the plot's quantities, cut off at its edge. What is not finite is left out.
  pugi::xml_node line(double x1, double y1, double x2, double y2, const char* colour,
                      double width_px, const char* dash = "");
  void curve(const std::vector<Eigen::Vector2d>& points, const char* colour, double width_px,
             const char* dash = "");
  void area(const std::vector<Eigen::Vector2d>& points, const char* fill, double opacity,
            const char* outline = "", const char* dash = "");
  void error_bar_y(double at_x, double middle, double half, const char* colour, double width_px);
  void error_bar_x(double at_y, double middle, double half, const char* colour, double width_px);
  enum class Mark { dot, ring, square, diamond, cross };
  void mark(double at_x, double at_y, Mark shape, const char* colour, double radius_px);
  // Words beside a place of the plot, in px from it.
  void label(double at_x, double at_y, double right_px, double down_px, const char* anchor,
             const std::string& words, const char* colour);
  // Words at a place of the sheet.
  void words(double px_x, double px_y, const char* anchor, const std::string& words,
             const char* colour, int size_px = 13);

 private:
  bool drawable(double at_x, double at_y) const;
  void frame_and_y_axis(const std::string& y_name, int y_decimals);

  pugi::xml_node svg_;
  pugi::xml_node inside_;
  double height_px_;
  Range x_;
  Range y_;
};

}  // namespace nocktrail::page
