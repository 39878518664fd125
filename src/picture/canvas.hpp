// A sheet to draw on: pictures, lines and text in pixels, over cairo. x right, y down; unlike in
// OpenCV, integer coordinates are pixel corners.
#pragma once

#include <cairo.h>

#include <Eigen/Core>
#include <memory>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

namespace nocktrail::picture {

struct Colour {
  double red = 0.0;  // 0 .. 1
  double green = 0.0;
  double blue = 0.0;
};

struct Box {
  double x = 0.0;
  double y = 0.0;
  double width = 0.0;
  double height = 0.0;
  double right() const { return x + width; }
  double bottom() const { return y + height; }
  Eigen::Vector2d centre() const { return {x + 0.5 * width, y + 0.5 * height}; }
};

struct Stroke {
  Colour colour;
  double width_px = 3.0;
  std::vector<double> dash_px;  // on, off, on, ...; empty: solid
  bool halo = false;            // white edge, so that the line stands out from any picture
};

struct Type {
  double size_px = 34.0;
  bool bold = false;
  Colour colour;
  bool halo = false;
};

enum class Anchor { left, middle, right };

class Canvas {
 public:
  Canvas(int width_px, int height_px);

  int width_px() const;
  int height_px() const;

  void fill(const Box& box, const Colour& colour);
  void frame(const Box& box, const Stroke& stroke);
  // Lays a CV_8UC3 BGR picture with its top left corner at (x, y), one to one.
  void picture(const cv::Mat& bgr, double x, double y);
  void path(const std::vector<Eigen::Vector2d>& points, const Stroke& stroke, bool closed = false);
  void fill_path(const std::vector<Eigen::Vector2d>& points, const Colour& colour, double alpha);
  void circle(const Eigen::Vector2d& centre, double radius_px, const Stroke& stroke);
  void disc(const Eigen::Vector2d& centre, double radius_px, const Colour& colour);

  // One line of text, its baseline at `at`. Bytes that are not UTF-8 must have been replaced.
  void text(const std::string& words, const Eigen::Vector2d& at, const Type& type,
            Anchor anchor = Anchor::left);
  double text_width_px(const std::string& words, const Type& type);
  // Breaks between words; a word wider than the line is left whole.
  std::vector<std::string> wrapped(const std::string& words, const Type& type, double width_px);
  // Wrapped text with its first line's top at y; returns the y below the last line.
  double paragraph(const std::string& words, double x, double y, double width_px, const Type& type);

  // Keeps drawing inside `box` until released.
  void clip_to(const Box& box);
  void clip_to_disc(const Eigen::Vector2d& centre, double radius_px);
  void release_clip();

  // The sheet down to `height_px`, CV_8UC3, BGR.
  cv::Mat bgr(int height_px) const;

 private:
  struct FreeSurface {
    void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
  };
  struct FreeContext {
    void operator()(cairo_t* context) const { cairo_destroy(context); }
  };
  void set(const Colour& colour, double alpha = 1.0);
  void set(const Type& type);
  void stroke_current(const Stroke& stroke);

  std::unique_ptr<cairo_surface_t, FreeSurface> surface_;
  std::unique_ptr<cairo_t, FreeContext> context_;
};

}  // namespace nocktrail::picture
