#include <fmt/format.h>

#include "charts.hpp"
#include "numbers.hpp"
#include "plot.hpp"
#include "style.hpp"

namespace nocktrail::page {
namespace {

constexpr double kHeight_px = 280.0;
// Lateral and vertical of one set-up stand side by side, by this share of a set-up's room.
constexpr double kAside = 0.11;

}  // namespace

void course_chart(pugi::xml_node parent, const std::string& id,
                  const std::vector<SetupView>& setups, double dead_band_deg) {
  Range y{-1.5 * dead_band_deg, 1.5 * dead_band_deg};
  std::vector<std::string> names;
  std::string said = "Mean offsets by set-up, in order of shooting.";
  for (const SetupView& setup : setups) {
    const tune::SetupJudgement& judged = *setup.judged;
    names.push_back(std::to_string(names.size() + 1));
    said += fmt::format(" {}, {}:", names.size(), judged.name);
    if (judged.lateral) {
      y.hold(judged.lateral->mean_deg, judged.lateral->u95_deg);
      said += fmt::format(" {}", lateral_cell(measured(*judged.lateral)));
    }
    if (judged.vertical) {
      y.hold(judged.vertical->mean_deg, judged.vertical->u95_deg);
      said += fmt::format(" {}", vertical_cell(measured(*judged.vertical)));
    }
    said += judged.lateral || judged.vertical ? "." : " no measured shot.";
  }
  const pugi::xml_node svg =
      chart(parent, id, "The course of the session", said,
            "Mean offset of each set-up with its 95 % interval, numbered as in the table. Dots: "
            "lateral, + nock right. Open squares: vertical, + nock high. Shaded strip: the dead "
            "band.",
            Plot::kWidth_px, kHeight_px);
  Plot plot(svg, id, kHeight_px, {0.5, static_cast<double>(setups.size()) + 0.5}, y.widened(0.05),
            false);
  plot.dead_band_y(dead_band_deg);
  plot.named_axes(setups.size() <= 20 ? names : std::vector<std::string>{}, "mean offset (deg)", 0);
  plot.words(0.5 * (plot.left_px() + plot.right_px()), plot.bottom_px() + 38.0, "middle", "set-up",
             kInk);
  std::vector<Eigen::Vector2d> lateral;
  std::vector<Eigen::Vector2d> vertical;
  for (std::size_t i = 0; i < setups.size(); ++i) {
    const tune::SetupJudgement& judged = *setups[i].judged;
    const double at = static_cast<double>(i + 1);
    if (judged.lateral) {
      lateral.emplace_back(at - kAside, judged.lateral->mean_deg);
      plot.error_bar_y(at - kAside, judged.lateral->mean_deg, judged.lateral->u95_deg, kBlue, 2.0);
    }
    if (judged.vertical) {
      vertical.emplace_back(at + kAside, judged.vertical->mean_deg);
      plot.error_bar_y(at + kAside, judged.vertical->mean_deg, judged.vertical->u95_deg, kRust,
                       2.0);
    }
  }
  plot.curve(lateral, kBlue, 1.2);
  plot.curve(vertical, kRust, 1.2, "5 4");
  for (const Eigen::Vector2d& point : lateral) {
    plot.mark(point.x(), point.y(), Plot::Mark::dot, kBlue, 4.5);
  }
  for (const Eigen::Vector2d& point : vertical) {
    plot.mark(point.x(), point.y(), Plot::Mark::square, kRust, 4.0);
  }
}

}  // namespace nocktrail::page
