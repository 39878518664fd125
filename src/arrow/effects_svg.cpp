#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <string>
#include <utility>

#include "nocktrail/arrow/effects_view.hpp"
#include "nocktrail/version.hpp"

namespace nocktrail::arrow {
namespace {

constexpr double kWidth = 820.0;
constexpr double kHeight = 520.0;
constexpr double kLeft = 78.0;
constexpr double kRight = 30.0;
constexpr double kTop = 106.0;
constexpr double kBottom = 76.0;

// Colours that differ in lightness too, for print and for every eye.
constexpr const char* kInk = "#1f2933";
constexpr const char* kSoft = "#616e7c";
constexpr const char* kGrid = "#e4e7eb";
constexpr const char* kBandFill = "#b9d3ea";
constexpr const char* kLine = "#1d5f99";
constexpr const char* kReading = "#b54708";

std::string escaped(const std::string& text) {
  std::string result;
  for (const char c : text) {
    switch (c) {
      case '&':
        result += "&amp;";
        break;
      case '<':
        result += "&lt;";
        break;
      case '>':
        result += "&gt;";
        break;
      case '"':
        result += "&quot;";
        break;
      default:
        result += c;
    }
  }
  return result;
}

// Even ticks, 1, 2 or 5 times a power of ten apart, about `wanted` of them.
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

class Plot {
 public:
  explicit Plot(const EffectsAnswer& answer) : answer_(answer) {
    const LengthCurve& curve = answer.outlook.curve;
    x_low_ = inches(curve.length_m.front());
    x_high_ = inches(curve.length_m.back());
    y_low_ = -1.0;
    y_high_ = 1.0;
    const auto include = [&](double value) {
      y_low_ = std::min(y_low_, value);
      y_high_ = std::max(y_high_, value);
    };
    for (const Band& band : curve.nock_right_deg) {
      include(band.low95);
      include(band.high95);
    }
    if (answer.reading) {
      include(answer.reading->nock_right_deg - answer.reading->u95_deg);
      include(answer.reading->nock_right_deg + answer.reading->u95_deg);
    }
    const double margin = 0.06 * (y_high_ - y_low_);
    y_low_ -= margin;
    y_high_ += margin;
    x_low_ -= 0.1;
    x_high_ += 0.1;
  }

  std::string draw() {
    open();
    axes();
    band();
    present();
    reading();
    legend();
    put("</svg>\n");
    return std::move(svg_);
  }

 private:
  static double inches(double length_m) { return length_m / units::kMetresPerInch; }
  double x(double length_in) const {
    return kLeft + (length_in - x_low_) / (x_high_ - x_low_) * (kWidth - kLeft - kRight);
  }
  double y(double deg) const {
    return kTop + (y_high_ - deg) / (y_high_ - y_low_) * (kHeight - kTop - kBottom);
  }

  template <typename... Args>
  void put(fmt::format_string<Args...> format, Args&&... args) {
    fmt::format_to(std::back_inserter(svg_), format, std::forward<Args>(args)...);
  }
  void line(double x1, double y1, double x2, double y2, const char* colour, double width,
            const char* dash = "") {
    put("<line x1=\"{:.2f}\" y1=\"{:.2f}\" x2=\"{:.2f}\" y2=\"{:.2f}\" stroke=\"{}\" "
        "stroke-width=\"{}\"{}/>\n",
        x1, y1, x2, y2, colour, width,
        *dash == '\0' ? "" : fmt::format(" stroke-dasharray=\"{}\"", dash));
  }
  void text(double at_x, double at_y, const char* anchor, int size, const char* colour,
            const std::string& words, const char* extra = "") {
    put("<text x=\"{:.2f}\" y=\"{:.2f}\" text-anchor=\"{}\" font-size=\"{}\" fill=\"{}\"{}>{}"
        "</text>\n",
        at_x, at_y, anchor, size, colour, extra, escaped(words));
  }

  void open() {
    put("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{0}\" height=\"{1}\" "
        "viewBox=\"0 0 {0} {1}\" font-family=\"DejaVu Sans, Verdana, sans-serif\">\n",
        kWidth, kHeight);
    put("<!-- nocktrail {} -->\n", kVersion);  // by which it may be written anew
    put("<title>Nock's lateral offset against shaft length, {}</title>\n",
        escaped(answer_.setup_name));
    put("<rect width=\"{}\" height=\"{}\" fill=\"white\"/>\n", kWidth, kHeight);
    text(kLeft, 28, "start", 17, kInk, "Where the nock trails, against shaft length",
         " font-weight=\"bold\"");
    text(kLeft, 48, "start", 12, kInk,
         fmt::format("{} - lateral offset 2 m past the rest, bow upright", answer_.setup_name));
  }

  void axes() {
    const double bottom = kHeight - kBottom;
    const double step_y = tick_step(y_high_ - y_low_, 8);
    for (double k = std::ceil(y_low_ / step_y); k * step_y <= y_high_; k += 1.0) {
      const double deg = k * step_y;
      line(kLeft, y(deg), kWidth - kRight, y(deg), k == 0.0 ? kInk : kGrid, k == 0.0 ? 1.4 : 1.0);
      text(kLeft - 8, y(deg) + 4, "end", 12, kInk,
           k == 0.0 ? std::string("0") : fmt::format("{:+g}", deg));
    }
    const double step_x = x_high_ - x_low_ > 3.0 ? 0.5 : 0.25;
    for (double k = std::ceil(x_low_ / step_x); k * step_x <= x_high_; k += 1.0) {
      const double length = k * step_x;
      line(x(length), bottom, x(length), bottom + 5, kInk, 1.0);
      text(x(length), bottom + 20, "middle", 12, kInk, fmt::format("{:g}", length));
    }
    line(kLeft, bottom, kWidth - kRight, bottom, kInk, 1.0);
    line(kLeft, kTop, kLeft, bottom, kInk, 1.0);
    text(0.5 * (kLeft + kWidth - kRight), bottom + 42, "middle", 13, kInk,
         "shaft length, nock throat to shaft end (in)");
    const double middle = 0.5 * (kTop + bottom);
    text(20, middle, "middle", 13, kInk, "nock right (deg)",
         fmt::format(" transform=\"rotate(-90 20 {:.1f})\"", middle).c_str());
    const bool left_handed = answer_.setup.archer.hand == Hand::left;
    text(kWidth - kRight - 6, kTop + 15, "end", 12, kSoft,
         left_handed ? "acts weak (nock right)" : "acts stiff (nock right)");
    text(kWidth - kRight - 6, bottom - 8, "end", 12, kSoft,
         left_handed ? "acts stiff (nock left)" : "acts weak (nock left)");
  }

  void band() {
    const LengthCurve& curve = answer_.outlook.curve;
    put("<polygon fill=\"{}\" fill-opacity=\"0.75\" points=\"", kBandFill);
    for (std::size_t i = 0; i < curve.length_m.size(); ++i) {
      put("{:.2f},{:.2f} ", x(inches(curve.length_m[i])), y(curve.nock_right_deg[i].high95));
    }
    for (std::size_t i = curve.length_m.size(); i-- > 0;) {
      put("{:.2f},{:.2f} ", x(inches(curve.length_m[i])), y(curve.nock_right_deg[i].low95));
    }
    put("\"/>\n");
    line(kLeft, y(0.0), kWidth - kRight, y(0.0), kInk, 1.4);
    put("<polyline fill=\"none\" stroke=\"{}\" stroke-width=\"2.5\" points=\"", kLine);
    for (std::size_t i = 0; i < curve.length_m.size(); ++i) {
      put("{:.2f},{:.2f} ", x(inches(curve.length_m[i])), y(curve.nock_right_deg[i].median));
    }
    put("\"/>\n");
  }

  void present() {
    const double at = x(inches(answer_.setup.arrow.shaft.length_m));
    line(at, kTop, at, kHeight - kBottom, kSoft, 1.2, "4 4");
    text(at, kTop - 6, "middle", 12, kInk, "now");
    const double safe = inches(answer_.outlook.curve.shortest_safe_m);
    if (safe > x_low_ && safe < x_high_) {
      line(x(safe), kTop, x(safe), kHeight - kBottom, kReading, 1.2, "2 3");
      text(x(safe), kTop - 6, "middle", 12, kReading, "no shorter");
    }
  }

  void reading() {
    if (!answer_.reading) {
      return;
    }
    const double at = x(inches(answer_.setup.arrow.shaft.length_m));
    const double low = y(answer_.reading->nock_right_deg - answer_.reading->u95_deg);
    const double high = y(answer_.reading->nock_right_deg + answer_.reading->u95_deg);
    line(at, low, at, high, kReading, 2.5);
    line(at - 7, low, at + 7, low, kReading, 2.5);
    line(at - 7, high, at + 7, high, kReading, 2.5);
    put("<circle cx=\"{:.2f}\" cy=\"{:.2f}\" r=\"5.5\" fill=\"{}\"/>\n", at,
        y(answer_.reading->nock_right_deg), kReading);
  }

  void legend() {
    const double row = 66.0;
    double at = kLeft;
    line(at, row, at + 24, row, kLine, 2.5);
    text(at + 30, row + 4, "start", 12, kInk, "model, median");
    at += 150;
    put("<rect x=\"{}\" y=\"{}\" width=\"24\" height=\"12\" fill=\"{}\" fill-opacity=\"0.75\"/>\n",
        at, row - 6, kBandFill);
    text(at + 30, row + 4, "start", 12, kInk,
         answer_.reading ? "95 % of the draws, given the reading" : "95 % of the draws");
    if (answer_.reading) {
      at += 300;
      put("<circle cx=\"{:.2f}\" cy=\"{:.2f}\" r=\"5.5\" fill=\"{}\"/>\n", at + 6, row, kReading);
      text(at + 18, row + 4, "start", 12, kInk,
           fmt::format("your reading, {:+.1f} \u00b1 {:.1f} deg", answer_.reading->nock_right_deg,
                       answer_.reading->u95_deg));
    }
  }

  const EffectsAnswer& answer_;
  std::string svg_;
  double x_low_ = 0.0;
  double x_high_ = 1.0;
  double y_low_ = 0.0;
  double y_high_ = 1.0;
};

}  // namespace

std::string effects_svg(const EffectsAnswer& answer) {
  return Plot(answer).draw();
}

}  // namespace nocktrail::arrow
