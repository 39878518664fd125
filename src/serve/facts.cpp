#include "facts.hpp"

#include <array>
#include <nlohmann/json.hpp>
#include <optional>
#include <string_view>
#include <utility>
#include <vector>

#include "asked.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_form.hpp"
#include "nocktrail/session/session.hpp"
#include "refused.hpp"

namespace nocktrail::serve {
namespace {

using nlohmann::json;
using rules::printable;
using session::FactField;

constexpr const char* kNoSetup = "there is no such set-up, or clip in it, in the session now";
constexpr std::size_t kMostEdits = 200;

const char* kind_word(FactField::Kind kind) {
  switch (kind) {
    case FactField::Kind::choice:
      return "choice";
    case FactField::Kind::text:
      return "text";
    case FactField::Kind::number:
    case FactField::Kind::angle:
      return "number";
    case FactField::Kind::words:
      return "words";
    case FactField::Kind::quantity:
      break;
  }
  return "quantity";
}

// The parts of the form, by the table that a field belongs to.
const char* part_of(std::string_view field) {
  constexpr std::array<std::pair<std::string_view, const char*>, 4> kParts = {
      {{"bow.", "Bow"}, {"archer.", "Archer"}, {"arrow.", "Arrow"}, {"camera.", "Phone"}}};
  for (const auto& [prefix, words] : kParts) {
    if (field.starts_with(prefix)) {
      return words;
    }
  }
  return "Shooting";
}

json or_null(const std::string& words) {
  return words.empty() ? json(nullptr) : json(words);
}

// What a page knows by its printable name.
struct Named {
  std::string setup;
  std::string clip;  // empty: the whole set-up
};

Named named(const std::filesystem::path& folder, const std::string& setup,
            const std::string& clip) {
  Named found = {setup.empty() ? "." : setup, clip};
  for (const session::PlannedSetup& one : session::load(folder).setups) {
    if (printable(one.name) != found.setup) {
      continue;
    }
    for (const session::PlannedClip& file : one.clips) {
      if (std::string name = file.path.filename().string(); printable(name) == clip) {
        found.clip = std::move(name);
      }
    }
    found.setup = one.name;
    break;
  }
  return found;
}

std::vector<session::FactEdit> edits_in(const json& asked) {
  const auto found = asked.find("edits");
  if (found == asked.end() || !found->is_array() || found->size() > kMostEdits) {
    throw Refused(400, kNotUnderstood);
  }
  std::vector<session::FactEdit> edits;
  for (const json& one : *found) {
    if (!one.is_object()) {
      throw Refused(400, kNotUnderstood);
    }
    edits.push_back({text_of(one, "field"), text_of(one, "value"), text_of(one, "was")});
  }
  return edits;
}

}  // namespace

Answer facts_form(const std::filesystem::path& folder, const Target& target) {
  const Named of = named(folder, target.value("setup"), target.value("clip"));
  const std::optional<session::FactsForm> form =
      session::facts_form(folder, session::default_archer_files(), of.setup, of.clip);
  if (!form) {
    throw Refused(404, kNoSetup);
  }
  json fields = json::array();
  const bool of_clip = !form->clip.empty();
  const auto all = of_clip ? session::clip_fields() : session::fact_fields();
  for (std::size_t k = 0; k < all.size(); ++k) {
    const session::FactStands& stands = form->stands[k];
    if (all[k].session_only && form->setup != ".") {
      continue;
    }
    fields.push_back({{"field", all[k].field},
                      {"part", of_clip ? "This clip alone" : part_of(all[k].field)},
                      {"words", all[k].words},
                      {"example", all[k].example},
                      {"kind", kind_word(all[k].kind)},
                      {"value", stands.value},
                      {"before", or_null(stands.before)},
                      {"where", or_null(printable(stands.where))}});
  }
  json setups = json::array();
  for (const std::string& setup : form->setups) {
    setups.push_back(printable(setup));
  }
  const json view = {{"setup", printable(form->setup)}, {"clip", or_null(printable(form->clip))},
                     {"file", printable(form->file)},   {"setups", std::move(setups)},
                     {"fields", std::move(fields)},     {"fault", or_null(printable(form->fault))}};
  return {200, "application/json", dumped(view)};
}

Answer save_facts(const std::filesystem::path& folder, const std::string& body) {
  const json asked = parsed(body);
  const Named of = named(folder, text_of(asked, "setup"), text_of(asked, "clip"));
  const session::FactsSaved saved = session::save_facts(folder, session::default_archer_files(),
                                                        of.setup, edits_in(asked), of.clip);
  if (saved.no_such_setup) {
    throw Refused(404, kNoSetup);
  }
  if (!saved.changed.empty()) {
    json changed = json::array();
    for (const auto& [field, value] : saved.changed) {
      changed.push_back({{"field", field}, {"value", value}});
    }
    return {409, "application/json",
            dumped({{"error",
                     "somebody else changed this just now; nothing was written: look at it "
                     "again, and save once more if it is to be as you have it"},
                    {"changed", std::move(changed)}})};
  }
  if (!saved.faults.empty()) {
    json faults = json::array();
    for (const session::FactsSaved::Fault& fault : saved.faults) {
      faults.push_back({{"field", fault.field}, {"words", printable(fault.words)}});
    }
    return {400, "application/json",
            dumped({{"error", "nothing was written yet: mend what is named"},
                    {"faults", std::move(faults)}})};
  }
  return {200, "application/json", "{}"};
}

}  // namespace nocktrail::serve
