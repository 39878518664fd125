// The words that stand for the next step in files and for scripts: the list of docs/measurement.md.
#pragma once

#include <array>
#include <string_view>
#include <utility>

#include "nocktrail/reading.hpp"

namespace nocktrail::rules {

inline constexpr std::array<std::pair<StepKind, std::string_view>, 25> kStepWords{
    {{StepKind::none, "none"},
     {StepKind::do_not_shoot_arrow, "do-not-shoot-arrow"},
     {StepKind::do_not_draw_bow, "do-not-draw-bow"},
     {StepKind::do_not_shoot_bow, "do-not-shoot-bow"},
     {StepKind::tell_facts, "tell-facts"},
     {StepKind::tell_hand, "tell-hand"},
     {StepKind::tell_cant, "tell-cant"},
     {StepKind::film_more, "film-more"},
     {StepKind::mind_form, "mind-form"},
     {StepKind::start_high, "start-high"},
     {StepKind::lower_nocking_point, "lower-nocking-point"},
     {StepKind::raise_nocking_point, "raise-nocking-point"},
     {StepKind::trim_shaft, "trim-shaft"},
     {StepKind::heavier_tip, "heavier-tip"},
     {StepKind::lighter_tip, "lighter-tip"},
     {StepKind::weaker_shaft, "weaker-shaft"},
     {StepKind::stiffer_shaft, "stiffer-shaft"},
     {StepKind::thinner_plate, "thinner-plate"},
     {StepKind::thicker_plate, "thicker-plate"},
     {StepKind::check_contact, "check-contact"},
     {StepKind::look_for_cause, "look-for-cause"},
     {StepKind::shoot_bare, "shoot-bare"},
     {StepKind::shoot_fletched, "shoot-fletched"},
     {StepKind::fine_tune_brace, "fine-tune-brace"},
     {StepKind::done, "done"}}};

}  // namespace nocktrail::rules
