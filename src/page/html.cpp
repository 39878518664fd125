#include "html.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <sstream>

#include "nocktrail/rules/words.hpp"
#include "nocktrail/version.hpp"
#include "style.hpp"

namespace nocktrail::page {
namespace {

// HTML Living Standard, 13.1.2: elements without content, those that end themselves.
constexpr std::array<std::string_view, 4> kVoid{"meta", "img", "br", "hr"};
// A new line after these makes the source readable and changes nothing on the page.
constexpr std::array<std::string_view, 12> kBlocks{
    "head", "style", "section", "header", "nav", "tr", "p", "figure", "h1", "h2", "h3", "table"};

template <std::size_t N>
bool is_one_of(const std::array<std::string_view, N>& names, std::string_view name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

void make_html(pugi::xml_node node) {
  for (pugi::xml_node child = node.first_child(); child; child = child.next_sibling()) {
    if (child.type() != pugi::node_element) {
      continue;
    }
    const std::string_view name = child.name();
    if (name == "svg") {
      // Foreign content: any element may end itself there.
    } else if (child.first_child()) {
      make_html(child);
    } else if (!is_one_of(kVoid, name)) {
      child.append_child(pugi::node_pcdata).set_value("");
    }
    if (is_one_of(kBlocks, name)) {
      node.insert_child_after(pugi::node_pcdata, child).set_value("\n");
      child = child.next_sibling();
    }
  }
}

}  // namespace

pugi::xml_node element(pugi::xml_node parent, const char* name, Attributes attributes,
                       std::string_view words) {
  pugi::xml_node node = parent.append_child(name);
  for (const auto& [key, value] : attributes) {
    node.append_attribute(key).set_value(rules::printable(value).c_str());
  }
  if (!words.empty()) {
    text(node, words);
  }
  return node;
}

void text(pugi::xml_node parent, std::string_view words) {
  parent.append_child(pugi::node_pcdata).set_value(rules::printable(words).c_str());
}

pugi::xml_node start_page(pugi::xml_document& document, const std::string& title) {
  document.append_child(pugi::node_doctype).set_value("html");
  const pugi::xml_node html = element(document, "html", {{"lang", "en"}});
  const pugi::xml_node head = element(html, "head");
  element(head, "meta", {{"charset", "utf-8"}});
  element(head, "meta", {{"name", "viewport"}, {"content", "width=device-width, initial-scale=1"}});
  // By which an older page may be written anew.
  element(head, "meta",
          {{"name", "generator"}, {"content", fmt::format("nocktrail {}", kVersion)}});
  element(head, "title", {}, title);
  // Not through text(): the sheet has lines.
  element(head, "style").append_child(pugi::node_pcdata).set_value(style_sheet());
  return element(html, "body");
}

std::string page_bytes(pugi::xml_document& document) {
  make_html(document);
  std::ostringstream bytes;
  document.save(bytes, "", pugi::format_raw | pugi::format_no_declaration, pugi::encoding_utf8);
  bytes << '\n';
  return bytes.str();
}

pugi::xml_node table(pugi::xml_node parent, const std::string& caption,
                     std::initializer_list<const char*> columns) {
  // Focusable, so that it can be scrolled from the keyboard.
  const pugi::xml_node box = element(
      parent, "div",
      {{"class", "scroll"}, {"role", "region"}, {"tabindex", "0"}, {"aria-label", caption}});
  const pugi::xml_node whole = element(box, "table");
  // The inner span stays in sight while the table is scrolled.
  element(element(whole, "caption"), "span", {}, caption);
  const pugi::xml_node names = element(element(whole, "thead"), "tr");
  for (const char* name : columns) {
    element(names, "th", {{"scope", "col"}}, name);
  }
  return element(whole, "tbody");
}

pugi::xml_node row(pugi::xml_node tbody, std::initializer_list<std::string> cells) {
  const pugi::xml_node line = element(tbody, "tr");
  bool first = true;
  for (const std::string& cell : cells) {
    if (first) {
      element(line, "th", {{"scope", "row"}}, cell);
    } else {
      // Figures with their interval stay on one line.
      if (cell.find(" ± ") == std::string::npos) {
        element(line, "td", {}, cell);
      } else {
        element(line, "td", {{"class", "figure-cell"}}, cell);
      }
    }
    first = false;
  }
  return line;
}

pugi::xml_node chart(pugi::xml_node parent, const std::string& id, const std::string& title,
                     const std::string& description, const std::string& caption, double width_px,
                     double height_px) {
  const pugi::xml_node figure = element(parent, "figure");
  const pugi::xml_node svg =
      element(figure, "svg",
              {{"role", "img"},
               {"aria-labelledby", fmt::format("{0}-title {0}-desc", id)},
               {"viewBox", fmt::format("0 0 {:g} {:g}", width_px, height_px)},
               {"width", fmt::format("{:g}", width_px)},
               {"height", fmt::format("{:g}", height_px)}});
  element(svg, "title", {{"id", id + "-title"}}, title);
  element(svg, "desc", {{"id", id + "-desc"}}, description);
  const pugi::xml_node words = element(figure, "figcaption");
  element(words, "b", {}, title + ".");
  if (!caption.empty()) {
    text(words, " " + caption);
  }
  return svg;
}

}  // namespace nocktrail::page
