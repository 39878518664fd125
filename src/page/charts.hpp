// The charts of the page: each a <figure> with its words, put at the end of `parent`. `id` is
// unique in the page.
#pragma once

#include <pugixml.hpp>
#include <string>
#include <vector>

#include "nocktrail/tune/judgement.hpp"
#include "views.hpp"

namespace nocktrail::page {

// Mean offsets of the set-ups in order of shooting, against the dead band.
void course_chart(pugi::xml_node parent, const std::string& id,
                  const std::vector<SetupView>& setups, double dead_band_deg);

// What the scatter charts have in common, said once; likewise for those along the flight. Each
// returns its paragraph.
pugi::xml_node scatter_help(pugi::xml_node parent);
pugi::xml_node flight_help(pugi::xml_node parent);

// Where the nock trailed at each shot of a set-up, as seen from behind, with the 95 % regions.
void scatter_chart(pugi::xml_node parent, const std::string& id, const SetupView& setup,
                   double dead_band_deg);

// The offset of each shot of a set-up along its flight; nothing without slopes.
void flight_chart(pugi::xml_node parent, const std::string& id, const SetupView& setup,
                  bool vertical, double dead_band_deg);

// Offset against what was changed: what the model expected, what was measured, what follows. Points
// carry their set-up's number in `setups`; `to` is where the recommended step leads, in the
// quantity's SI unit.
void answer_chart(pugi::xml_node parent, const std::string& id, const tune::Learned& learned,
                  const std::vector<SetupView>& setups, std::optional<double> to,
                  double dead_band_deg);

}  // namespace nocktrail::page
