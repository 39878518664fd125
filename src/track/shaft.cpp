#include "nocktrail/track/shaft.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/core/utility.hpp>
#include <opencv2/imgproc.hpp>

#include "sort_stack.hpp"

namespace nocktrail::track {
namespace {

double median_of(std::vector<double> values) {
  if (values.empty()) {
    return 0.0;
  }
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

float sample(const cv::Mat& image, double x, double y) {
  const int x0 = static_cast<int>(std::floor(x));
  const int y0 = static_cast<int>(std::floor(y));
  if (x0 < 0 || y0 < 0 || x0 + 1 >= image.cols || y0 + 1 >= image.rows) {
    return 0.0F;
  }
  const float fx = static_cast<float>(x - x0);
  const float fy = static_cast<float>(y - y0);
  const float* top = image.ptr<float>(y0) + x0;
  const float* bottom = image.ptr<float>(y0 + 1) + x0;
  return (1 - fy) * ((1 - fx) * top[0] + fx * top[1]) + fy * ((1 - fx) * bottom[0] + fx * bottom[1]);
}

// A bar of the given width seen through a Gaussian blur.
double bar(double b, double width, double softness) {
  const double s = softness * std::sqrt(2.0);
  return 0.5 * (std::erf((b + width / 2) / s) - std::erf((b - width / 2) / s));
}

double bar_slope(double b, double width, double softness) {
  const auto bell = [&](double x) {
    return std::exp(-x * x / (2 * softness * softness)) / (softness * std::sqrt(2 * M_PI));
  };
  return bell(b + width / 2) - bell(b - width / 2);
}

// The neighbourhood of the expected shaft turned so that rows run along it.
struct Rectified {
  double a0 = 0.0;            // along-coordinate of column 0; step 1 px
  int columns = 0;
  double b0 = 0.0;            // across-coordinate of row 0
  double b_step = 0.5;
  int rows = 0;
  std::vector<double> grey;   // rows x columns
  std::vector<double> noise;  // per column
  double at(int row, int column) const {
    return grey[static_cast<std::size_t>(row) * static_cast<std::size_t>(columns) + static_cast<std::size_t>(column)];
  }
  double b(int row) const { return b0 + row * b_step; }
};

double bow_at(const Expected& expected, double along_px, double length_px) {
  const std::vector<double>& bow = expected.bow_px;
  if (bow.size() < 2) {
    return 0.0;
  }
  // Straight on beyond the ends.
  const double c = along_px / length_px * static_cast<double>(bow.size() - 1);
  const auto i = static_cast<std::size_t>(
      std::clamp(std::floor(c), 0.0, static_cast<double>(bow.size()) - 2.0));
  return bow[i] + (c - static_cast<double>(i)) * (bow[i + 1] - bow[i]);
}

Rectified rectify(const Region& region, std::size_t frame, const Expected& expected,
                  const Eigen::Vector2d& along, double a0, double a1, double reach) {
  const double length = (expected.tip_px - expected.nock_px).norm();
  Rectified patch;
  patch.a0 = a0;
  patch.columns = static_cast<int>(std::ceil(a1 - a0)) + 1;
  patch.b0 = -reach;
  patch.rows = static_cast<int>(std::ceil(2 * reach / patch.b_step)) + 1;
  patch.grey.resize(static_cast<std::size_t>(patch.rows) * static_cast<std::size_t>(patch.columns));
  patch.noise.resize(static_cast<std::size_t>(patch.columns));
  const Eigen::Vector2d across(-along.y(), along.x());
  const Eigen::Vector2d corner(region.roi.x, region.roi.y);
  for (int column = 0; column < patch.columns; ++column) {
    double noise = 0.0;
    const double bow = bow_at(expected, a0 + column, length);
    for (int row = 0; row < patch.rows; ++row) {
      const Eigen::Vector2d at =
          expected.nock_px + along * (a0 + column) + across * (bow + patch.b(row)) - corner;
      patch.grey[static_cast<std::size_t>(row) * static_cast<std::size_t>(patch.columns) + static_cast<std::size_t>(column)] =
          static_cast<double>(sample(region.difference[frame], at.x(), at.y()));
      noise += static_cast<double>(sample(region.sigma, at.x(), at.y()));
    }
    patch.noise[static_cast<std::size_t>(column)] = std::max(0.1, noise / patch.rows);
  }
  return patch;
}

struct Slice {
  double a = 0.0;
  double centre = 0.0;
  double sigma = 0.0;
  double contrast = 0.0;
};

// Position and contrast of a bar in the mean of columns [first, last], nearest the guess.
std::optional<Slice> fit_slice(const Rectified& patch, int first, int last, double guess,
                               double search, double width, const ShaftOptions& options) {
  const int n = last - first + 1;
  std::vector<double> profile(static_cast<std::size_t>(patch.rows), 0.0);
  double noise = 0.0;
  for (int column = first; column <= last; ++column) {
    noise += patch.noise[static_cast<std::size_t>(column)];
    for (int row = 0; row < patch.rows; ++row) {
      profile[static_cast<std::size_t>(row)] += patch.at(row, column) / n;
    }
  }
  // Half-pixel steps of bilinear samples: neighbours share pixels, so the noise of a row counts
  // for about half the rows' number.
  noise = noise / n / std::sqrt(n) * std::sqrt(1.0 / patch.b_step);
  // Clutter that the background did not remove shows beside the shaft.
  std::vector<double> beside;
  for (int row = 0; row < patch.rows; ++row) {
    if (std::abs(patch.b(row) - guess) > width / 2 + 3.0 + search * 0.5) {
      beside.push_back(std::abs(profile[static_cast<std::size_t>(row)]));
    }
  }
  if (beside.size() >= 4) {
    noise = std::max(noise, median_of(beside) / 0.6745 * std::sqrt(1.0 / patch.b_step) * 0.7);
  }
  auto matched = [&](double centre, double& contrast, double& weight) {
    double top = 0.0;
    weight = 0.0;
    for (int row = 0; row < patch.rows; ++row) {
      const double t = bar(patch.b(row) - centre, width, options.edge_softness_px);
      top += t * profile[static_cast<std::size_t>(row)];
      weight += t * t;
    }
    contrast = weight > 0.0 ? top / weight : 0.0;
    return weight > 0.0 ? top * top / weight : 0.0;
  };
  double best = -1.0;
  double centre = guess;
  for (double c = guess - search; c <= guess + search + 1e-9; c += 0.5) {
    double contrast = 0.0;
    double weight = 0.0;
    const double gain = matched(c, contrast, weight);
    if (gain > best) {
      best = gain;
      centre = c;
    }
  }
  double contrast = 0.0;
  double weight = 0.0;
  matched(centre, contrast, weight);
  double information = 0.0;
  for (int round = 0; round < 6; ++round) {
    double saa = 0.0, sac = 0.0, scc = 0.0, ra = 0.0, rc = 0.0;
    for (int row = 0; row < patch.rows; ++row) {
      const double b = patch.b(row) - centre;
      const double t = bar(b, width, options.edge_softness_px);
      const double d = -contrast * bar_slope(b, width, options.edge_softness_px);
      const double r = profile[static_cast<std::size_t>(row)] - contrast * t;
      saa += t * t;
      sac += t * d;
      scc += d * d;
      ra += t * r;
      rc += d * r;
    }
    const double det = saa * scc - sac * sac;
    if (!(det > 1e-12)) {
      return std::nullopt;
    }
    const double dc = (saa * rc - sac * ra) / det;
    contrast += (scc * ra - sac * rc) / det;
    centre += std::clamp(dc, -0.7, 0.7);
    information = det / saa;
    if (std::abs(dc) < 0.005) {
      break;
    }
  }
  // Something just beside the shaft, seen as strongly as the shaft: vanes, a limb, another arrow.
  double flank = 0.0;
  int flank_rows = 0;
  for (int row = 0; row < patch.rows; ++row) {
    const double b = std::abs(patch.b(row) - centre) - width / 2;
    if (b > 1.8 && b < 5.0) {
      flank += profile[static_cast<std::size_t>(row)] * profile[static_cast<std::size_t>(row)];
      ++flank_rows;
    }
  }
  flank = flank_rows > 0 ? std::sqrt(flank / flank_rows) : 0.0;
  if (flank > options.clear_sides * std::abs(contrast) && flank > 2.0 * noise / std::sqrt(1.0 / patch.b_step)) {
    return std::nullopt;
  }
  const double contrast_sigma = noise / std::sqrt(std::max(weight, 1e-9));
  if (std::abs(contrast) < options.least_contrast_sigma * contrast_sigma ||
      std::abs(centre - guess) > search + 0.5) {
    return std::nullopt;
  }
  Slice slice;
  slice.a = patch.a0 + 0.5 * (first + last);
  slice.centre = centre;
  slice.contrast = contrast;
  slice.sigma = std::hypot(noise / std::sqrt(information), options.centre_floor_px);
  return slice;
}

// Straight line through the slices that most of them agree on; drops the rest.
struct Straight {
  double offset = 0.0;
  double slope = 0.0;
  double at(double a) const { return offset + slope * a; }
};

std::optional<Straight> agree(std::vector<Slice>& slices, double tolerance) {
  if (slices.empty()) {
    return std::nullopt;
  }
  Straight best;
  double best_votes = 0.0;
  auto votes_of = [&](const Straight& line) {
    double votes = 0.0;
    for (const Slice& s : slices) {
      const double off = std::abs(s.centre - line.at(s.a)) / std::hypot(tolerance, s.sigma);
      votes += off < 2.0 ? (1.0 - off / 2.0) : 0.0;
    }
    return votes;
  };
  for (std::size_t i = 0; i < slices.size(); ++i) {
    for (std::size_t j = i; j < slices.size(); ++j) {
      Straight line;
      const double apart = slices[j].a - slices[i].a;
      line.slope = i == j || apart < 1.0 ? 0.0 : (slices[j].centre - slices[i].centre) / apart;
      if (std::abs(line.slope) > 0.35) {
        continue;
      }
      line.offset = slices[i].centre - line.slope * slices[i].a;
      const double votes = votes_of(line);
      if (votes > best_votes) {
        best_votes = votes;
        best = line;
      }
    }
  }
  std::erase_if(slices, [&](const Slice& s) {
    return std::abs(s.centre - best.at(s.a)) > 2.0 * std::hypot(tolerance, s.sigma);
  });
  if (slices.empty()) {
    return std::nullopt;
  }
  // Weighted least squares over those left.
  double w0 = 0.0, wa = 0.0, waa = 0.0, wc = 0.0, wac = 0.0;
  for (const Slice& s : slices) {
    const double w = 1.0 / (s.sigma * s.sigma);
    w0 += w;
    wa += w * s.a;
    waa += w * s.a * s.a;
    wc += w * s.centre;
    wac += w * s.a * s.centre;
  }
  const double det = w0 * waa - wa * wa;
  if (slices.size() >= 3 && det > 1e-6 * w0 * w0) {
    best.slope = (w0 * wac - wa * wc) / det;
    best.offset = (wc - best.slope * wa) / w0;
  }
  return best;
}

// Where the shaft ends, coming from outside. Coordinates grow outward: `level` gives the matched
// contrast at outward coordinate o, the expected end is at 0, inside is negative. The sign of the
// contrast is no guide: a light crest band or nock on a dark shaft crosses zero without an end.
struct Edge {
  double at = 0.0;
  double sigma = 0.0;
};

template <typename Level>
std::optional<Edge> find_edge(const Level& level, double inside_px, double search_px, double noise,
                              const ShaftOptions& options) {
  const auto strength = [&](double o) {
    return std::abs(level(o - 0.5) + level(o) + level(o + 0.5)) / 3.0;
  };
  std::vector<double> inner;
  const double from = std::max(2.0, 0.4 * search_px);
  for (double o = -from - std::max(4.0, inside_px); o <= -from; o += 1.0) {
    inner.push_back(strength(o));
  }
  const double plateau = median_of(inner);
  if (plateau < options.least_contrast_sigma * noise) {
    return std::nullopt;
  }
  const double threshold = std::max(3.5 * noise, 0.3 * plateau);
  constexpr double kStep = 0.25;
  const double start = search_px + 3.0;
  if (strength(start) > threshold || strength(start - 1.0) > threshold) {
    return std::nullopt;  // something else begins there
  }
  for (double o = start; o >= -search_px; o -= kStep) {
    if (strength(o) < threshold) {
      continue;
    }
    const int inward = (strength(o - 1.0) > threshold) + (strength(o - 2.0) > threshold) +
                       (strength(o - 3.0) > threshold);
    if (inward < 2) {
      continue;
    }
    if (o > search_px) {
      return std::nullopt;
    }
    // Half of what stands just inside.
    const double inside =
        std::max({strength(o - 1.0), strength(o - 2.0), strength(o - 3.0)});
    double at = o - 2.0;
    while (at < o + 3.0 && strength(at) > 0.5 * inside) {
      at += 0.1;
    }
    double upper = at;
    while (upper > at - 8.0 && strength(upper) < 0.8 * inside) {
      upper -= 0.1;
    }
    Edge edge;
    edge.at = at;
    const double fall = 2.5 * (at - upper);
    edge.sigma = std::hypot(options.end_floor_px, fall * noise / inside, 0.1 * fall);
    return edge;
  }
  return std::nullopt;
}

}  // namespace

namespace {

// Light of an 8-bit code value, 255 at white: inverse of the BT.709 transfer curve (Rec. ITU-R
// BT.709-6, item 1.2) in limited range. Phones bend it a little; the rest of it is right.
std::array<float, 256> light_of_code() {
  std::array<float, 256> light{};
  for (std::size_t code = 0; code < light.size(); ++code) {
    const double v = std::clamp((static_cast<double>(code) - 16.0) / 219.0, 0.0, 1.1);
    const double linear = v < 0.081 ? v / 4.5 : std::pow((v + 0.099) / 1.099, 1.0 / 0.45);
    light[code] = static_cast<float>(255.0 * linear);
  }
  return light;
}

}  // namespace

cv::Rect region_of(const Sweep& sweep, const cv::Size& size) {
  const cv::Rect whole(0, 0, size.width, size.height);
  const Eigen::Vector2d side(sweep.outward.y(), -sweep.outward.x());
  double left = 1e9, right = -1e9, top = 1e9, bottom = -1e9;
  auto include = [&](const Eigen::Vector2d& p) {
    left = std::min(left, p.x());
    right = std::max(right, p.x());
    top = std::min(top, p.y());
    bottom = std::max(bottom, p.y());
  };
  // The path until it leaves the picture.
  for (double s = 0.0; s < std::hypot(size.width, size.height); s += 4.0) {
    const Eigen::Vector2d centre = sweep.vanishing_px + sweep.outward * s;
    if (centre.x() < -20 || centre.y() < -20 || centre.x() > size.width + 20 || centre.y() > size.height + 20) {
      if (s > 40.0) {
        break;
      }
      continue;
    }
    const double half = 14.0 + 0.17 * s;
    include(centre + side * half);
    include(centre - side * half);
    include(centre - sweep.outward * 14.0);
  }
  const cv::Rect roi = cv::Rect(cv::Point(static_cast<int>(left), static_cast<int>(top)),
                                cv::Point(static_cast<int>(right) + 1, static_cast<int>(bottom) + 1)) &
                       whole;
  return roi.width < 16 || roi.height < 16 ? whole : roi;
}

Region cut_region(const std::vector<cv::Mat>& steadied, const cv::Rect& roi, std::size_t first,
                  std::size_t last, std::size_t used_first, std::size_t used_last,
                  const ShaftOptions& options) {
  Region region;
  region.roi = roi;
  const cv::Size cut = roi.size();
  // Enough frames for a median, evenly spread, in an odd number.
  constexpr std::size_t kMost = 33;
  const std::size_t n = std::min(last - first, kMost);
  cv::Mat median(cut, CV_32F);
  region.sigma.create(cut, CV_32F);
  constexpr int kStripRows = 16;
  const int strips = (cut.height + kStripRows - 1) / kStripRows;
  cv::parallel_for_(cv::Range(0, strips), [&](const cv::Range& range) {
    for (int strip = range.start; strip < range.end; ++strip) {
      const cv::Range rows(strip * kStripRows, std::min(cut.height, (strip + 1) * kStripRows));
      std::vector<cv::Mat> stack;
      for (std::size_t i = 0; i < n; ++i) {
        const std::size_t k = first + (n > 1 ? i * (last - first - 1) / (n - 1) : 0);
        stack.push_back(steadied[k](roi).rowRange(rows).clone());
      }
      sort_stack(stack);
      // The mean of the middle half: finer than a median of whole code values, as robust here.
      cv::Mat sum = cv::Mat::zeros(stack.front().size(), CV_32F);
      const std::size_t low = n / 4;
      const std::size_t high = n - 1 - n / 4;
      for (std::size_t i = low; i <= high; ++i) {
        cv::add(sum, stack[i], sum, cv::noArray(), CV_32F);
      }
      sum.convertTo(median.rowRange(rows), CV_32F, 1.0 / static_cast<double>(high - low + 1));
      cv::Mat spread;
      cv::subtract(stack[high], stack[low], spread);
      spread.convertTo(region.sigma.rowRange(rows), CV_32F, 1.0 / 1.349);
    }
  });
  cv::boxFilter(region.sigma, region.sigma, CV_32F, cv::Size(7, 7));
  cv::max(region.sigma, options.grey_floor, region.sigma);
  // From here on in linear light: during the exposure a moving end mixes with its background in
  // light, not in code values, and half-way in code values is not half-way along the smear.
  const std::array<float, 256> light = light_of_code();
  for (int y = 0; y < cut.height; ++y) {
    auto* level = median.ptr<float>(y);
    auto* noise = region.sigma.ptr<float>(y);
    for (int x = 0; x < cut.width; ++x) {
      const auto code = static_cast<std::size_t>(std::clamp(level[x], 0.0F, 254.0F));
      const float slope = light[code + 1] - light[code];
      noise[x] *= std::max(slope, 0.15F);
      level[x] = light[code] + (level[x] - static_cast<float>(code)) * slope;
    }
  }
  region.background = median;
  // A background that is off by a fraction of a pixel (camera motion not fully taken out, parallax
  // of near things) shows at its edges.
  cv::Mat gx;
  cv::Mat gy;
  cv::Sobel(median, gx, CV_32F, 1, 0, 3, options.edge_slip_px / 8.0);
  cv::Sobel(median, gy, CV_32F, 0, 1, 3, options.edge_slip_px / 8.0);
  cv::Mat slip;
  cv::magnitude(gx, gy, slip);
  cv::magnitude(region.sigma, slip, region.sigma);
  region.difference.resize(steadied.size());
  for (std::size_t k = used_first; k < std::min(used_last, steadied.size()); ++k) {
    cv::Mat& difference = region.difference[k];
    cv::LUT(steadied[k](roi), cv::Mat(1, 256, CV_32F, const_cast<float*>(light.data())), difference);
    difference -= median;
  }
  return region;
}

std::optional<CoarseShaft> coarse_shaft(const Region& region, std::size_t frame, const Sweep& sweep,
                                        double t_s, const ShaftOptions& options) {
  const double inverse = sweep.inverse_start + sweep.inverse_rate * t_s;
  const double reach = sweep.inverse_rate * sweep.cover_s;
  if (inverse - reach < 1e-4 || region.difference[frame].empty()) {
    return std::nullopt;
  }
  const double s_far = 1.0 / (inverse + 1.1 * reach);
  const double s_near = std::min(1.0 / std::max(inverse - 1.1 * reach, 1e-3), 3.0 / inverse);
  const Eigen::Vector2d side(sweep.outward.y(), -sweep.outward.x());
  const Eigen::Vector2d corner(region.roi.x, region.roi.y);
  struct Pixel {
    Eigen::Vector2d at;
    double s;
    double weight;
  };
  std::vector<Pixel> pixels;
  for (int y = 1; y + 1 < region.roi.height; ++y) {
    for (int x = 1; x + 1 < region.roi.width; ++x) {
      const Eigen::Vector2d at = Eigen::Vector2d(x, y) + corner;
      const Eigen::Vector2d from_vp = at - sweep.vanishing_px;
      const double s = from_vp.dot(sweep.outward);
      if (s < s_far || s > s_near || std::abs(from_vp.dot(side)) > 4.0 + 0.14 * s) {
        continue;
      }
      // Two by one means keep lone noisy pixels out.
      const cv::Mat& d = region.difference[frame];
      const float here = d.at<float>(y, x);
      const float around = std::max({std::abs(here + d.at<float>(y - 1, x)), std::abs(here + d.at<float>(y + 1, x)),
                                     std::abs(here + d.at<float>(y, x - 1)), std::abs(here + d.at<float>(y, x + 1))});
      const double z = static_cast<double>(around) / (1.4 * static_cast<double>(region.sigma.at<float>(y, x)));
      if (z > options.changed_sigma) {
        pixels.push_back({at, s, std::min(z, 12.0)});
      }
    }
  }
  if (pixels.size() < 6) {
    return std::nullopt;
  }
  // The line with most weight: pairs of pixels in a fixed stride, so that the result does not
  // depend on a random draw.
  const double expected = s_near - s_far;
  double best_score = 0.0;
  Eigen::Vector2d best_at = Eigen::Vector2d::Zero();
  Eigen::Vector2d best_along = Eigen::Vector2d::Zero();
  const std::size_t stride = std::max<std::size_t>(1, pixels.size() / 60);
  for (std::size_t i = 0; i < pixels.size(); i += stride) {
    for (std::size_t j = i + 1 + i % stride; j < pixels.size(); j += stride) {
      const Eigen::Vector2d step = pixels[j].at - pixels[i].at;
      const double apart = step.norm();
      if (apart < std::max(4.0, 0.2 * expected)) {
        continue;
      }
      const Eigen::Vector2d along = step / apart;
      if (std::abs(along.dot(sweep.outward)) < 0.75) {
        continue;
      }
      double score = 0.0;
      for (std::size_t m = 0; m < pixels.size(); m += std::max<std::size_t>(1, pixels.size() / 400)) {
        const Eigen::Vector2d off = pixels[m].at - pixels[i].at;
        const double beside = std::abs(off.x() * along.y() - off.y() * along.x());
        score += beside < 1.6 ? pixels[m].weight * (1.0 - beside / 1.6) : 0.0;
      }
      if (score > best_score) {
        best_score = score;
        best_at = pixels[i].at;
        best_along = along.dot(sweep.outward) > 0 ? along : Eigen::Vector2d(-along);
      }
    }
  }
  if (best_score <= 0.0) {
    return std::nullopt;
  }
  // Longest chain along the line with small gaps; outward is toward the nock.
  std::vector<double> places;
  for (const Pixel& pixel : pixels) {
    const Eigen::Vector2d off = pixel.at - best_at;
    if (std::abs(off.x() * best_along.y() - off.y() * best_along.x()) < 1.8) {
      places.push_back(off.dot(best_along));
    }
  }
  std::sort(places.begin(), places.end());
  const double gap = std::max(3.5, 0.12 * expected);
  std::size_t best_first = 0;
  std::size_t best_last = 0;
  for (std::size_t first = 0; first < places.size();) {
    std::size_t last = first;
    while (last + 1 < places.size() && places[last + 1] - places[last] < gap) {
      ++last;
    }
    if (places[last] - places[first] > places[best_last] - places[best_first]) {
      best_first = first;
      best_last = last;
    }
    first = last + 1;
  }
  if (places.empty() || places[best_last] - places[best_first] < std::max(4.0, 0.15 * expected)) {
    return std::nullopt;
  }
  return CoarseShaft{best_at + best_along * places[best_last], best_at + best_along * places[best_first]};
}

std::optional<ShaftProfile> cut_open(const Region& region, std::size_t frame, double t_s,
                                     const Expected& expected, const ShaftOptions& options) {
  const Eigen::Vector2d shaft = expected.tip_px - expected.nock_px;
  const double length = shaft.norm();
  if (length < 3.0) {
    return std::nullopt;
  }
  ShaftProfile profile;
  profile.frame = frame;
  profile.t_s = t_s;
  profile.expected = expected;
  profile.along = shaft / length;
  const Eigen::Vector2d across(-profile.along.y(), profile.along.x());
  const double width = std::max(1.0, expected.width_px);
  const double margin = expected.search_along_px + 8.0;
  const double reach = width / 2 + expected.search_across_px + 6.0;
  const Rectified patch =
      rectify(region, frame, expected, profile.along, -margin, length + margin, reach);
  const auto column_of = [&](double a) { return static_cast<int>(std::lround(a - patch.a0)); };

  const int slice_px = std::clamp(static_cast<int>(length / 12.0), 2, 8);
  std::vector<Slice> slices;
  for (double a = 1.0; a + slice_px <= length; a += slice_px) {
    const int first = std::clamp(column_of(a), 0, patch.columns - 1);
    const int last = std::clamp(column_of(a + slice_px) - 1, first, patch.columns - 1);
    const auto slice = fit_slice(patch, first, last, 0.0, expected.search_across_px, width, options);
    if (slice) {
      slices.push_back(*slice);
    }
  }
  const std::optional<Straight> line = agree(slices, 0.35 + expected.bend_slack_px);
  if (!line || static_cast<double>(slices.size()) * slice_px < 0.3 * length) {
    return std::nullopt;
  }
  profile.line_offset = line->offset;
  profile.line_slope = line->slope;
  for (const Slice& slice : slices) {
    profile.centre.push_back(
        {expected.nock_px + profile.along * slice.a +
             across * (bow_at(expected, slice.a, length) + slice.centre),
         slice.sigma});
    profile.centre_at_px.push_back(slice.a);
  }

  // Matched contrast along the line.
  profile.first_px = patch.a0;
  profile.level.resize(static_cast<std::size_t>(patch.columns));
  profile.background.resize(profile.level.size());
  double noise_sum = 0.0;
  const Eigen::Vector2d corner(region.roi.x, region.roi.y);
  for (int column = 0; column < patch.columns; ++column) {
    const double centre = line->at(patch.a0 + column);
    double top = 0.0;
    double weight = 0.0;
    for (int row = 0; row < patch.rows; ++row) {
      const double t = bar(patch.b(row) - centre, width, options.edge_softness_px);
      top += t * patch.at(row, column);
      weight += t * t;
    }
    const auto i = static_cast<std::size_t>(column);
    profile.level[i] = weight > 0 ? top / weight : 0.0;
    const Eigen::Vector2d at = profile.place(patch.a0 + column) - corner;
    profile.background[i] = static_cast<double>(sample(region.background, at.x(), at.y()));
    noise_sum += patch.noise[i] * std::sqrt(1.0 / patch.b_step) / std::sqrt(std::max(weight, 1e-9));
  }
  profile.noise = noise_sum / patch.columns;
  return profile;
}

Eigen::Vector2d ShaftProfile::place(double along_px) const {
  const Eigen::Vector2d across(-along.y(), along.x());
  return expected.nock_px + along * along_px + across * across_at(along_px);
}

double ShaftProfile::across_at(double along_px) const {
  return bow_at(expected, along_px, length_px()) + line_offset + line_slope * along_px;
}

double ArrowPaint::at(double share) const {
  const double c = std::clamp(share * static_cast<double>(grey.size()) - 0.5, 0.0,
                              static_cast<double>(grey.size()) - 1.001);
  const auto i = static_cast<std::size_t>(c);
  const double f = c - static_cast<double>(i);
  return (1 - f) * grey[i] + f * grey[i + 1];
}

namespace {

// Share of the shaft at a fraction of its picture length, and back: the far end is foreshortened
// (projective map of a line, Hartley & Zisserman section 2.5).
double share_of(double fraction, double depth_ratio) {
  return fraction / (depth_ratio * (1.0 - fraction) + fraction);
}

double fraction_of(double share, double depth_ratio) {
  return share * depth_ratio / ((1.0 - share) + share * depth_ratio);
}

double level_at(const std::vector<double>& values, double first_px, double a) {
  const double c = std::clamp(a - first_px, 0.0, static_cast<double>(values.size()) - 1.001);
  const auto i = static_cast<std::size_t>(c);
  const double f = c - static_cast<double>(i);
  return (1 - f) * values[i] + f * values[i + 1];
}

struct Ends {
  double nock_px = 0.0;  // along coordinates
  double tip_px = 0.0;
  double nock_sigma = 1.0;
  double tip_sigma = 1.0;
  bool nock_clear = true;  // arrow and background differ there
  bool tip_clear = true;
};

// Lens and motion blur of an end, 1 sigma.
double end_softness_px(double length_px) { return 0.7 + 0.015 * length_px; }

// How badly the painted arrow between two ends explains the profile, in noise variances; each
// pixel counts at most `cap`, so that an occluded stretch cannot drag an end.
double mismatch(const ShaftProfile& profile, const ArrowPaint& paint, double nock, double tip,
                double noise, double cap) {
  const double length = tip - nock;
  const double soft = end_softness_px(length);
  double sum = 0.0;
  for (std::size_t i = 0; i < profile.level.size(); ++i) {
    const double a = profile.first_px + static_cast<double>(i);
    const double inside = 0.5 * (std::erf((a - nock) / (soft * std::numbers::sqrt2)) -
                                 std::erf((a - tip) / (soft * std::numbers::sqrt2)));
    double predicted = 0.0;
    if (inside > 1e-3) {
      const double fraction = std::clamp((a - nock) / length, 0.0, 1.0);
      predicted = inside * (paint.at(share_of(fraction, profile.expected.depth_ratio)) - profile.background[i]);
    }
    const double r = (profile.level[i] - predicted) / noise;
    sum += std::min(r * r, cap);
  }
  return sum;
}

std::optional<Ends> match_paint(const ShaftProfile& profile, const ArrowPaint& paint,
                                const ShaftOptions& options) {
  const double length = profile.length_px();
  const double reach = profile.expected.search_along_px;
  // Paint, background and alignment are all a little off: a tenth of the contrast counts as noise.
  std::vector<double> strength;
  for (std::size_t i = 0; i < profile.level.size(); ++i) {
    strength.push_back(std::abs(profile.level[i]));
  }
  const double noise = std::hypot(profile.noise * 1.2, 0.15 * median_of(strength) + 0.2);
  constexpr double kCap = 16.0;
  const auto cost = [&](double nock, double tip) {
    return mismatch(profile, paint, nock, tip, noise, kCap);
  };
  double best = 1e300;
  double nock = 0.0;
  double tip = length;
  const double step = reach > 6.0 ? 1.5 : 0.75;
  for (double n = -reach; n <= reach; n += step) {
    for (double t = length - reach; t <= length + reach; t += step) {
      if (t - n < 0.6 * length) {
        continue;
      }
      const double c = cost(n, t);
      if (c < best) {
        best = c;
        nock = n;
        tip = t;
      }
    }
  }
  for (double fine = 0.5 * step; fine > 0.04; fine *= 0.5) {
    for (int pass = 0; pass < 2; ++pass) {
      for (const double d : {-fine, fine}) {
        if (const double c = cost(nock + d, tip); c < best) {
          best = c;
          nock += d;
        }
        if (const double c = cost(nock, tip + d); c < best) {
          best = c;
          tip += d;
        }
      }
    }
  }
  if (std::abs(nock) > reach - 0.25 || std::abs(tip - length) > reach - 0.25) {
    return std::nullopt;
  }
  // How far each end can move before the match is worse by one unit of its own scatter. Where arrow
  // and background look alike that is far, and the end is in the middle of it, known that poorly.
  const double scale = std::max(1.0, best / static_cast<double>(profile.level.size()));
  struct Span {
    double middle = 0.0;
    double half = 0.0;
  };
  const auto span_of = [&](const auto& cost_at) {
    constexpr double kStep = 0.25;
    double back = 0.0;
    double on = 0.0;
    while (back < reach && cost_at(-back - kStep) < best + scale) {
      back += kStep;
    }
    while (on < reach && cost_at(on + kStep) < best + scale) {
      on += kStep;
    }
    return Span{0.5 * (on - back), 0.5 * (on + back) + 0.5 * kStep};
  };
  // Contrast of each end against that of the whole arrow.
  std::vector<double> whole;
  const auto contrast = [&](double from, double to) {
    double sum = 0.0;
    constexpr int kSteps = 6;
    for (int i = 0; i < kSteps; ++i) {
      const double fraction = from + (to - from) * (i + 0.5) / kSteps;
      const double a = nock + fraction * (tip - nock);
      const double off = std::abs(paint.at(share_of(fraction, profile.expected.depth_ratio)) -
                                  level_at(profile.background, profile.first_px, a));
      sum += off / kSteps;
      whole.push_back(off);
    }
    return sum;
  };
  const double nock_contrast = contrast(0.0, 0.15);
  const double tip_contrast = contrast(0.85, 1.0);
  contrast(0.15, 0.5);
  contrast(0.5, 0.85);
  const double clear = options.clear_end * median_of(whole);
  const Span nock_span = span_of([&](double d) { return cost(nock + d, tip); });
  const Span tip_span = span_of([&](double d) { return cost(nock, tip + d); });
  return Ends{nock + nock_span.middle, tip + tip_span.middle,
              std::hypot(options.painted_floor_px, nock_span.half),
              std::hypot(options.painted_floor_px, tip_span.half),
              nock_contrast > clear,
              tip_contrast > clear};
}

}  // namespace

std::optional<ArrowPaint> learn_paint(const std::vector<ShaftProfile>& profiles,
                                      const ShaftOptions& options) {
  constexpr std::size_t kBins = 40;
  std::vector<std::vector<double>> seen(kBins);
  std::size_t teachers = 0;
  for (const ShaftProfile& profile : profiles) {
    const double length = profile.length_px();
    if (length < options.paint_length_px) {
      continue;
    }
    ++teachers;
    for (std::size_t bin = 0; bin < kBins; ++bin) {
      const double share = (static_cast<double>(bin) + 0.5) / kBins;
      const double a = length * fraction_of(share, profile.expected.depth_ratio);
      // The blurred ends are half background: learned as paint, they would push the ends outward.
      if (std::min(a, length - a) < 2.2 * end_softness_px(length)) {
        continue;
      }
      seen[bin].push_back(level_at(profile.level, profile.first_px, a) +
                          level_at(profile.background, profile.first_px, a));
    }
  }
  if (teachers < 4) {
    return std::nullopt;
  }
  // Bins that no frame shows clear of the ends take the nearest one's paint.
  ArrowPaint paint;
  std::size_t first = kBins;
  std::size_t last = 0;
  for (std::size_t bin = 0; bin < kBins; ++bin) {
    if (!seen[bin].empty()) {
      first = std::min(first, bin);
      last = bin;
    }
  }
  if (first >= last) {
    return std::nullopt;
  }
  for (std::size_t bin = 0; bin < kBins; ++bin) {
    const std::size_t from = std::clamp(bin, first, last);
    paint.grey.push_back(seen[from].empty() ? paint.grey.back() : median_of(seen[from]));
  }
  return paint;
}

flight::ArrowSighting sight(const ShaftProfile& profile, const std::optional<ArrowPaint>& paint,
                            const ShaftOptions& options) {
  flight::ArrowSighting sighting;
  sighting.frame = static_cast<int>(profile.frame);
  sighting.t_s = profile.t_s;
  const double length = profile.length_px();
  double begin = 0.0;
  double end = length;
  const std::optional<Ends> ends =
      paint ? match_paint(profile, *paint, options) : std::optional<Ends>{};
  if (ends) {
    begin = ends->nock_px;
    end = ends->tip_px;
    const double useless = std::max(2.5, 0.2 * length);
    if (ends->nock_clear && ends->nock_sigma < useless) {
      sighting.nock = flight::EndPoint{profile.place(begin), ends->nock_sigma};
    }
    if (ends->tip_clear && ends->tip_sigma < useless) {
      sighting.tip = flight::EndPoint{profile.place(end), ends->tip_sigma};
    }
  } else if (!paint) {
    const double inside = std::min(0.3 * length, 14.0);
    const auto level = [&](double a) { return level_at(profile.level, profile.first_px, a); };
    const double reach = profile.expected.search_along_px;
    if (const auto nock = find_edge([&](double o) { return level(-o); }, inside, reach, profile.noise, options)) {
      begin = -nock->at;
      sighting.nock = flight::EndPoint{profile.place(begin), nock->sigma};
    }
    if (const auto tip = find_edge([&](double o) { return level(length + o); }, inside, reach, profile.noise, options)) {
      end = length + tip->at;
      sighting.tip = flight::EndPoint{profile.place(end), tip->sigma};
    }
  }
  for (std::size_t i = 0; i < profile.centre.size(); ++i) {
    const double a = profile.centre_at_px[i];
    // The very end carries nock and vanes, whose middle is not the shaft's.
    if (a >= begin + 0.04 * length && a <= end) {
      sighting.centre.push_back(profile.centre[i]);
    }
  }
  return sighting;
}

std::optional<double> foremost_end(const Region& region, std::size_t frame,
                                   const std::vector<Eigen::Vector2d>& curve,
                                   const std::vector<double>& width_px, double search_across_px,
                                   const ShaftOptions& options) {
  const std::size_t n = curve.size();
  if (n < 12) {
    return std::nullopt;
  }
  const Eigen::Vector2d corner(region.roi.x, region.roi.y);
  std::vector<double> strength(n, 0.0);  // matched contrast over its noise, best over the width
  for (std::size_t i = 0; i < n; ++i) {
    const Eigen::Vector2d along =
        (curve[std::min(i + 2, n - 1)] - curve[i >= 2 ? i - 2 : 0]).normalized();
    const Eigen::Vector2d across(-along.y(), along.x());
    const double width = std::max(1.0, width_px[i]);
    const double reach = search_across_px + width / 2 + 2.0;
    std::vector<double> profile;
    std::vector<double> trust;  // 1 / variance; samples half a pixel apart count half
    for (double b = -reach; b <= reach + 1e-9; b += 0.5) {
      const Eigen::Vector2d at = curve[i] + across * b - corner;
      profile.push_back(static_cast<double>(sample(region.difference[frame], at.x(), at.y())));
      const double sigma = std::max(0.1, static_cast<double>(sample(region.sigma, at.x(), at.y())));
      trust.push_back(0.5 / (sigma * sigma));
    }
    for (double c = -search_across_px; c <= search_across_px; c += 0.5) {
      double top = 0.0;
      double weight = 0.0;
      for (std::size_t j = 0; j < profile.size(); ++j) {
        const double b = -reach + 0.5 * static_cast<double>(j) - c;
        if (std::abs(b) > width / 2 + 2.5) {
          continue;
        }
        const double t = bar(b, width, options.edge_softness_px);
        top += t * profile[j] * trust[j];
        weight += t * t * trust[j];
      }
      strength[i] = std::max(strength[i], std::abs(top) / std::sqrt(std::max(weight, 1e-12)));
    }
  }
  // Smoothed over a few pixels; the threshold leaves room for the search's own maximum over noise.
  std::vector<double> smooth(n, 0.0);
  for (std::size_t i = 0; i < n; ++i) {
    double sum = 0.0;
    int count = 0;
    for (std::size_t j = i >= 2 ? i - 2 : 0; j <= std::min(i + 2, n - 1); ++j) {
      sum += strength[j];
      ++count;
    }
    smooth[i] = sum / count;
  }
  const double threshold = options.least_contrast_sigma + 1.0 + 0.5 * std::log(1.0 + search_across_px);
  const std::size_t run = 8;
  if (smooth[n - 1] > threshold || smooth[n - 3] > threshold) {
    return std::nullopt;
  }
  for (std::size_t i = n - 1; i >= run; --i) {
    bool present = true;
    for (std::size_t j = i - run; j <= i && present; ++j) {
      present = smooth[j] > threshold;
    }
    if (!present) {
      continue;
    }
    // Half of the level just inside, between the two samples around it.
    std::vector<double> inner(strength.begin() + static_cast<std::ptrdiff_t>(i - run),
                              strength.begin() + static_cast<std::ptrdiff_t>(i) - 1);
    const double half = std::max(threshold, 0.5 * median_of(inner));
    std::size_t j = i >= 3 ? i - 3 : 0;
    while (j + 1 < n && smooth[j + 1] > half) {
      ++j;
    }
    const double next = j + 1 < n ? smooth[j + 1] : 0.0;
    return static_cast<double>(j) + std::clamp((smooth[j] - half) / std::max(1e-6, smooth[j] - next), 0.0, 1.0);
  }
  return std::nullopt;
}

}  // namespace nocktrail::track
