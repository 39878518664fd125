#include <fmt/format.h>

#include "html.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/judgement_text.hpp"
#include "numbers.hpp"
#include "sections.hpp"

namespace nocktrail::page {
namespace {

std::string capitalised(std::string words) {
  if (!words.empty() && words[0] >= 'a' && words[0] <= 'z') {
    words[0] = static_cast<char>(words[0] - 'a' + 'A');
  }
  return words;
}

void verdict(pugi::xml_node parent, const Content& content) {
  const pugi::xml_node box = element(parent, "div", {{"class", "verdict"}});
  const SetupView* latest = latest_measured(content.setups);
  if (latest == nullptr) {
    element(box, "h2", {}, "Verdict");
    element(box, "p", {{"class", "words"}}, "No shot has been measured yet.");
    return;
  }
  const tune::SetupJudgement& judged = *latest->judged;
  element(box, "h2", {}, fmt::format("Verdict on the latest set-up, {}", judged.name));
  for (const std::string& stop : judged.stops) {
    element(box, "p", {{"class", "caution"}}, stop);
  }
  const pugi::xml_node figures = element(box, "p", {{"class", "figures"}});
  if (judged.lateral) {
    element(figures, "span", {}, capitalised(offset_words(measured(*judged.lateral), false)));
    text(figures, " ");
  }
  if (judged.vertical) {
    element(figures, "span", {}, capitalised(offset_words(measured(*judged.vertical), true)));
  }
  const pugi::xml_node tags = element(box, "p");
  element(
      tags, "span", {{"class", "tag"}},
      latest->record->facts.arrow.fletching == tune::Fletching::fletched
          ? fmt::format("spine as fletched: {} (the bare shaft decides)", rules::word(judged.spine))
          : fmt::format("spine: {}", rules::word(judged.spine)));
  text(tags, " ");
  element(tags, "span", {{"class", "tag"}},
          fmt::format("nocking point: {}", rules::word(judged.nocking_point)));
  if (!judged.summary.empty()) {
    element(box, "p", {}, judged.summary);
  }
  if (latest != &content.setups.back()) {
    element(box, "p", {{"class", "caution"}},
            fmt::format("Set-up {} has no measured shot yet; this is the one before.",
                        content.setups.back().judged->name));
  }
  element(
      box, "p", {{"class", "soft"}},
      "± is half a 95 % interval, scatter from shot to shot and error of measuring together; the "
      "nock 2 m past the rest.");
}

}  // namespace

void cautions_list(pugi::xml_node parent, const std::vector<std::string>& cautions) {
  if (cautions.empty()) {
    return;
  }
  const pugi::xml_node list = element(parent, "ul", {{"class", "cautions"}});
  for (const std::string& caution : cautions) {
    element(list, "li", {}, caution);
  }
}

namespace {

void next_step(pugi::xml_node parent, const Content& content) {
  const tune::Step& next = content.judgement.next;
  const pugi::xml_node box = element(parent, "div", {{"class", "verdict step"}});
  element(box, "h2", {}, next.kind == StepKind::done ? "The set-up is done" : "Next step");
  element(box, "p", {{"class", "words"}}, next.words.empty() ? rules::word(next.kind) : next.words);
  if (!next.because.empty()) {
    element(box, "p", {}, fmt::format("Why: {}", next.because));
  }
  if (next.overshoot_chance) {
    element(box, "p", {},
            fmt::format("Chance that this goes past straight: {}.",
                        tune::chance_words(*next.overshoot_chance)));
  }
  cautions_list(box, next.cautions);
}

}  // namespace

void verdict_section(pugi::xml_node parent, const Content& content) {
  // What must not be shot stands before any number.
  const bool stop = forbids(content.judgement.next.kind);
  if (stop) {
    next_step(parent, content);
  }
  verdict(parent, content);
  if (!stop) {
    next_step(parent, content);
  }
}

}  // namespace nocktrail::page
