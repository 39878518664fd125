#include "setup_stops.hpp"

#include <fmt/format.h>

#include <optional>

#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/safety.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/gate.hpp"

namespace nocktrail::logbook {
namespace {

std::optional<std::string> stop_of(const ShotAnswer& shot, const SetupAnswer& setup) {
  if (shot.session != setup.session || shot.setup != setup.name || !shot.present ||
      !shot.dropped.empty()) {
    return std::nullopt;
  }
  const std::string which = fmt::format(" One shot, {}.", rules::printable(shot.clip));
  if (shot.reason.find(rules::kAcrossItsFlight) != std::string::npos) {
    return rules::kStopAcross + which;
  }
  rules::Evidence evidence;
  evidence.lat_deg = shot.bow_right_deg ? shot.bow_right_deg : shot.nock_right_deg;
  evidence.vert_deg = shot.bow_high_deg ? shot.bow_high_deg : shot.nock_high_deg;
  evidence.fletched = setup.facts.arrow.fletching == tune::Fletching::fletched;
  evidence.bare = setup.facts.arrow.fletching == tune::Fletching::bare;
  const auto asked = rules::stop_for_mismatch(evidence);
  return asked ? std::optional(asked->words + which) : std::nullopt;
}

}  // namespace

void add_stops(std::vector<SetupAnswer>& setups, const std::vector<ShotAnswer>& single) {
  for (SetupAnswer& setup : setups) {
    setup.stops = tune::stop_texts(setup.facts, setup.lateral, setup.vertical);
    for (auto shot = single.begin(); setup.stops.empty() && shot != single.end(); ++shot) {
      if (auto stop = stop_of(*shot, setup)) {
        setup.stops.push_back(*std::move(stop));
      }
    }
  }
}

}  // namespace nocktrail::logbook
