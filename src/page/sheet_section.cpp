#include <fmt/format.h>

#include <algorithm>

#include "html.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/version.hpp"
#include "sections.hpp"

namespace nocktrail::page {
namespace {

constexpr int kMostRows = 48;

// What stands on the sheet, in millimetres of A4, by a count of its lines: the type and the height
// of the rows to fill in follow from it, so that the sheet stays on one page.
struct Layout {
  bool dense = false;
  double row_mm = 7.0;
};

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

int rows_to_fill(const tune::BuildSheet& sheet) {
  return std::clamp(sheet.arrows, 0, kMostRows);
}

Layout layout_of(const tune::BuildSheet& sheet) {
  // A line of text with its share of margins: at 8.5 and at 7 pt.
  const auto rest_mm = [&](double line_mm, std::size_t characters) {
    const auto lines = [&](std::size_t length) {
      const std::size_t whole = 1 + length / characters;
      return static_cast<double>(whole);
    };
    const auto table_mm = [&](const std::vector<tune::BuildLine>& table) {
      double sum = 3.5;  // caption and head
      for (const tune::BuildLine& line : table) {
        // Three cells of an eighth to a sixth of the sheet's width each.
        sum += std::max({lines(6 * line.what.size()), lines(6 * line.value.size()),
                         lines(8 * line.tolerance.size())}) +
               0.35;
      }
      return sum * line_mm;
    };
    double sum = 5.0 * line_mm + lines(sheet.offsets.size()) * line_mm;
    sum += std::max(table_mm(sheet.bow), table_mm(sheet.arrow)) + 3.5 * line_mm;
    for (const std::string& caution : sheet.cautions) {
      sum += (lines(caution.size()) + 0.4) * line_mm;
    }
    return sum;
  };
  constexpr double kPage_mm = 260.0;
  constexpr double kComfortable_mm = 6.0;  // a row to write in
  const int rows = std::max(rows_to_fill(sheet), 1);
  Layout layout;
  layout.row_mm = (kPage_mm - rest_mm(4.8, 120)) / rows;
  if (layout.row_mm < kComfortable_mm) {
    layout.dense = true;
    layout.row_mm = (kPage_mm - rest_mm(3.4, 150)) / rows;
  }
  layout.row_mm = std::clamp(layout.row_mm, 3.0, 8.0);
  return layout;
}

std::string capitalised(std::string words) {
  if (!words.empty() && words[0] >= 'a' && words[0] <= 'z') {
    words[0] = static_cast<char>(words[0] - 'a' + 'A');
  }
  return words;
}

void set_table(pugi::xml_node parent, const tune::BuildSheet& sheet) {
  const pugi::xml_node body =
      table(parent, "The rest of the set: write in what each arrow measures", {"Arrow"});
  pugi::xml_node whole = body.parent();
  whole.append_attribute("class").set_value("set");
  const pugi::xml_node head = whole.child("thead").child("tr");
  std::vector<std::string> columns;
  for (const std::string& column : sheet.columns) {
    // The arrow's number is the row's own head.
    if (capitalised(column) != "Arrow") {
      columns.push_back(capitalised(column));
      element(head, "th", {{"scope", "col"}}, columns.back());
    }
  }
  for (int i = 1; i <= rows_to_fill(sheet); ++i) {
    const pugi::xml_node line = row(body, {std::to_string(i)});
    for (std::size_t c = 0; c < columns.size(); ++c) {
      element(line, "td", {{"class", "fill"}});
    }
  }
}

}  // namespace

void made_up_line(pugi::xml_node parent, const Content& content) {
  if (!content.session.made_up.empty()) {
    element(parent, "p", {{"class", "caution"}},
            fmt::format("Made up, not shot: {}", content.session.made_up));
  }
}

void sheet_section(pugi::xml_node parent, const Content& content) {
  const std::string& name = content.session.name;
  if (!content.judgement.build_sheet) {
    const pugi::xml_node section =
        element(parent, "section", {{"id", "sheet"}, {"class", "sheet"}});
    element(section, "h2", {}, "Build sheet");
    element(section, "p", {}, "Not yet: the set-up is not done. It is written here when it is.");
    const tune::Step& next = content.judgement.next;
    element(section, "p", {},
            fmt::format("Next step: {}", next.words.empty() ? rules::word(next.kind) : next.words));
    return;
  }
  const tune::BuildSheet& sheet = *content.judgement.build_sheet;
  const Layout layout = layout_of(sheet);
  const pugi::xml_node section =
      element(parent, "section",
              {{"id", "sheet"},
               {"class", layout.dense ? "sheet own-page dense" : "sheet own-page"},
               {"style", fmt::format("--row: {:.1f}mm", layout.row_mm)}});
  element(section, "h2", {}, name.empty() ? "Build sheet" : fmt::format("Build sheet: {}", name));
  element(section, "p", {{"class", "soft"}},
          content.options.written_at.empty()
              ? fmt::format("nocktrail {}", kVersion)
              : fmt::format("{}, nocktrail {}", content.options.written_at, kVersion));
  made_up_line(section, content);
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
