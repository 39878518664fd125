#include "view_hint.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "nocktrail/rules/before_change.hpp"

namespace nocktrail::pipeline {

void hint_at_view(Reading& reading, const std::optional<View>& told) {
  if (reading.status == ClipStatus::measured ||
      std::any_of(reading.shots.begin(), reading.shots.end(), rules::stands_across)) {
    return;
  }
  if (told) {
    reading.reason += fmt::format("; it was told to be filmed {}: if it was not, leave that out",
                                  told == View::side ? "from the side" : "from behind");
  } else if (reading.status == ClipStatus::refused && reading.shots.front().view == View::side) {
    reading.reason +=
        "; if it was filmed from behind, that was not the arrow: have its flight clear of head, "
        "hat and limb, before a ground of another brightness";
  }
}

}  // namespace nocktrail::pipeline
