#include <fmt/format.h>

#include <algorithm>

#include "html.hpp"
#include "nocktrail/version.hpp"
#include "sections.hpp"

namespace nocktrail::page {
namespace {

// Beyond this many lines a sheet is set in smaller type, to stay on one page of A4.
constexpr int kRoomyLines = 46;
constexpr int kMostRows = 48;

void build_lines(pugi::xml_node parent, const std::string& caption,
                 const std::vector<tune::BuildLine>& lines) {
  if (lines.empty()) {
    return;
  }
  const pugi::xml_node body = table(parent, caption, {"What", "Value", "Tolerance for the set"});
  for (const tune::BuildLine& line : lines) {
    row(body, {line.what, line.value, line.tolerance});
  }
}

int lines_taken(const tune::BuildSheet& sheet) {
  // A value and a tolerance beside their name seldom need more than two lines; a caution has about
  // a hundred characters to the line.
  const auto most = 2 * std::max(sheet.bow.size(), sheet.arrow.size());
  std::size_t cautions = 0;
  for (const std::string& caution : sheet.cautions) {
    cautions += 1 + caution.size() / 100;
  }
  return static_cast<int>(most + cautions) + std::clamp(sheet.arrows, 0, kMostRows);
}

void set_table(pugi::xml_node parent, const tune::BuildSheet& sheet) {
  const pugi::xml_node body =
      table(parent, "The rest of the set: write in what each arrow measures", {"Arrow"});
  pugi::xml_node whole = body.parent();
  whole.append_attribute("class").set_value("set");
  const pugi::xml_node head = whole.child("thead").child("tr");
  for (const std::string& column : sheet.columns) {
    element(head, "th", {{"scope", "col"}}, column);
  }
  for (int i = 1; i <= std::clamp(sheet.arrows, 0, kMostRows); ++i) {
    const pugi::xml_node line = row(body, {std::to_string(i)});
    for (std::size_t c = 0; c < sheet.columns.size(); ++c) {
      element(line, "td", {{"class", "fill"}});
    }
  }
}

}  // namespace

void sheet_section(pugi::xml_node parent, const Content& content) {
  const std::string& name = content.session.name;
  if (!content.judgement.build_sheet) {
    const pugi::xml_node section =
        element(parent, "section", {{"id", "sheet"}, {"class", "sheet"}});
    element(section, "h2", {}, "Build sheet");
    element(section, "p", {}, "Not yet: the set-up is not done. It is written here when it is.");
    const tune::Step& next = content.judgement.next;
    element(section, "p", {},
            fmt::format("Next step: {}", next.words.empty() ? tune::word(next.kind) : next.words));
    return;
  }
  const tune::BuildSheet& sheet = *content.judgement.build_sheet;
  const bool dense = lines_taken(sheet) > kRoomyLines;
  const pugi::xml_node section =
      element(parent, "section",
              {{"id", "sheet"}, {"class", dense ? "sheet own-page dense" : "sheet own-page"}});
  element(section, "h2", {}, name.empty() ? "Build sheet" : fmt::format("Build sheet: {}", name));
  element(section, "p", {{"class", "soft"}},
          content.options.written_at.empty()
              ? fmt::format("nocktrail {}", kVersion)
              : fmt::format("{}, nocktrail {}", content.options.written_at, kVersion));
  if (!sheet.offsets.empty()) {
    element(section, "p", {}, sheet.offsets);
  }
  const pugi::xml_node halves = element(section, "div", {{"class", "halves"}});
  build_lines(halves, "The bow", sheet.bow);
  build_lines(halves, "The arrow", sheet.arrow);
  set_table(section, sheet);
  cautions_list(section, sheet.cautions);
}

}  // namespace nocktrail::page
