#include "canvas.hpp"

#include <algorithm>
#include <new>
#include <numbers>
#include <opencv2/imgproc.hpp>

namespace nocktrail::picture {
namespace {

const Colour kWhite{1.0, 1.0, 1.0};
constexpr double kLineHeight = 1.32;  // of the type size

}  // namespace

Canvas::Canvas(int width_px, int height_px)
    : surface_(cairo_image_surface_create(CAIRO_FORMAT_RGB24, width_px, height_px)),
      context_(cairo_create(surface_.get())) {
  if (cairo_surface_status(surface_.get()) != CAIRO_STATUS_SUCCESS) {
    throw std::bad_alloc();
  }
  cairo_set_line_join(context_.get(), CAIRO_LINE_JOIN_ROUND);
  cairo_set_line_cap(context_.get(), CAIRO_LINE_CAP_BUTT);
  fill({0.0, 0.0, static_cast<double>(width_px), static_cast<double>(height_px)}, kWhite);
}

int Canvas::width_px() const {
  return cairo_image_surface_get_width(surface_.get());
}

int Canvas::height_px() const {
  return cairo_image_surface_get_height(surface_.get());
}

void Canvas::set(const Colour& colour, double alpha) {
  cairo_set_source_rgba(context_.get(), colour.red, colour.green, colour.blue, alpha);
}

void Canvas::set(const Type& type) {
  cairo_select_font_face(context_.get(), "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL,
                         type.bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(context_.get(), type.size_px);
}

void Canvas::stroke_current(const Stroke& stroke) {
  cairo_t* c = context_.get();
  if (stroke.halo) {
    cairo_set_dash(c, nullptr, 0, 0.0);
    cairo_set_line_width(c, stroke.width_px + 4.0);
    set(kWhite, 0.75);
    cairo_stroke_preserve(c);
  }
  cairo_set_dash(c, stroke.dash_px.data(), static_cast<int>(stroke.dash_px.size()), 0.0);
  cairo_set_line_width(c, stroke.width_px);
  set(stroke.colour);
  cairo_stroke(c);
  cairo_set_dash(c, nullptr, 0, 0.0);
}

void Canvas::fill(const Box& box, const Colour& colour) {
  set(colour);
  cairo_rectangle(context_.get(), box.x, box.y, box.width, box.height);
  cairo_fill(context_.get());
}

void Canvas::frame(const Box& box, const Stroke& stroke) {
  cairo_rectangle(context_.get(), box.x, box.y, box.width, box.height);
  stroke_current(stroke);
}

void Canvas::picture(const cv::Mat& bgr, double x, double y) {
  if (bgr.empty()) {
    return;
  }
  // CAIRO_FORMAT_RGB24 is a native-endian 0x00RRGGBB: B, G, R, 0 in memory on the machines we
  // build for, which is OpenCV's BGRA.
  cv::Mat bgra;
  cv::cvtColor(bgr, bgra, cv::COLOR_BGR2BGRA);
  const std::unique_ptr<cairo_surface_t, FreeSurface> source(cairo_image_surface_create_for_data(
      bgra.data, CAIRO_FORMAT_RGB24, bgra.cols, bgra.rows, static_cast<int>(bgra.step)));
  cairo_set_source_surface(context_.get(), source.get(), x, y);
  cairo_rectangle(context_.get(), x, y, bgra.cols, bgra.rows);
  cairo_fill(context_.get());
  // The pixels go out of scope with this call, so the context must not hold on to them.
  set(kWhite);
}

void Canvas::path(const std::vector<Eigen::Vector2d>& points, const Stroke& stroke, bool closed) {
  if (points.size() < 2) {
    return;
  }
  cairo_new_path(context_.get());
  for (const Eigen::Vector2d& p : points) {
    cairo_line_to(context_.get(), p.x(), p.y());
  }
  if (closed) {
    cairo_close_path(context_.get());
  }
  stroke_current(stroke);
}

void Canvas::fill_path(const std::vector<Eigen::Vector2d>& points, const Colour& colour,
                       double alpha) {
  cairo_new_path(context_.get());
  for (const Eigen::Vector2d& p : points) {
    cairo_line_to(context_.get(), p.x(), p.y());
  }
  cairo_close_path(context_.get());
  set(colour, alpha);
  cairo_fill(context_.get());
}

void Canvas::circle(const Eigen::Vector2d& centre, double radius_px, const Stroke& stroke) {
  cairo_new_path(context_.get());
  cairo_arc(context_.get(), centre.x(), centre.y(), radius_px, 0.0, 2.0 * std::numbers::pi);
  stroke_current(stroke);
}

void Canvas::disc(const Eigen::Vector2d& centre, double radius_px, const Colour& colour) {
  cairo_new_path(context_.get());
  cairo_arc(context_.get(), centre.x(), centre.y(), radius_px, 0.0, 2.0 * std::numbers::pi);
  set(colour);
  cairo_fill(context_.get());
}

double Canvas::text_width_px(const std::string& words, const Type& type) {
  set(type);
  cairo_text_extents_t extents;
  cairo_text_extents(context_.get(), words.c_str(), &extents);
  return extents.x_advance;
}

void Canvas::text(const std::string& words, const Eigen::Vector2d& at, const Type& type,
                  Anchor anchor) {
  const double width_px = text_width_px(words, type);
  const double shift =
      anchor == Anchor::left ? 0.0 : (anchor == Anchor::middle ? 0.5 * width_px : width_px);
  cairo_t* c = context_.get();
  cairo_new_path(c);
  cairo_move_to(c, at.x() - shift, at.y());
  cairo_text_path(c, words.c_str());
  if (type.halo) {
    cairo_set_line_width(c, 0.22 * type.size_px);
    set(kWhite, 0.85);
    cairo_stroke_preserve(c);
  }
  set(type.colour);
  cairo_fill(c);
}

std::vector<std::string> Canvas::wrapped(const std::string& words, const Type& type,
                                         double width_px) {
  std::vector<std::string> lines;
  std::string line;
  std::size_t start = 0;
  while (start < words.size()) {
    const std::size_t end = std::min(words.find(' ', start), words.size());
    const std::string word = words.substr(start, end - start);
    start = end + 1;
    const std::string longer = line.empty() ? word : line + " " + word;
    if (!line.empty() && text_width_px(longer, type) > width_px) {
      lines.push_back(line);
      line = word;
    } else {
      line = longer;
    }
  }
  if (!line.empty()) {
    lines.push_back(line);
  }
  return lines;
}

double Canvas::paragraph(const std::string& words, double x, double y, double width_px,
                         const Type& type) {
  for (const std::string& line : wrapped(words, type, width_px)) {
    text(line, {x, y + type.size_px}, type);
    y += kLineHeight * type.size_px;
  }
  return y;
}

void Canvas::clip_to(const Box& box) {
  cairo_save(context_.get());
  cairo_rectangle(context_.get(), box.x, box.y, box.width, box.height);
  cairo_clip(context_.get());
}

void Canvas::clip_to_disc(const Eigen::Vector2d& centre, double radius_px) {
  cairo_save(context_.get());
  cairo_new_path(context_.get());
  cairo_arc(context_.get(), centre.x(), centre.y(), radius_px, 0.0, 2.0 * std::numbers::pi);
  cairo_clip(context_.get());
}

void Canvas::release_clip() {
  cairo_restore(context_.get());
}

cv::Mat Canvas::bgr(int height_px) const {
  cairo_surface_flush(surface_.get());
  const cv::Mat bgra(this->height_px(), width_px(), CV_8UC4,
                     cairo_image_surface_get_data(surface_.get()),
                     static_cast<std::size_t>(cairo_image_surface_get_stride(surface_.get())));
  cv::Mat out;
  cv::cvtColor(bgra.rowRange(0, std::clamp(height_px, 1, this->height_px())), out,
               cv::COLOR_BGRA2BGR);
  return out;
}

}  // namespace nocktrail::picture
