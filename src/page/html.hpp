// Elements of the page, over pugixml: escaping and nesting are the library's.
#pragma once

#include <initializer_list>
#include <pugixml.hpp>
#include <string>
#include <string_view>
#include <utility>

namespace nocktrail::page {

using Attributes = std::initializer_list<std::pair<const char*, std::string>>;

// A child of `parent` with attributes and, unless empty, text. All text is made printable.
pugi::xml_node element(pugi::xml_node parent, const char* name, Attributes attributes = {},
                       std::string_view words = {});
void text(pugi::xml_node parent, std::string_view words);

// An empty page: head with title, style, viewport and language; returns its body.
pugi::xml_node start_page(pugi::xml_document& document, const std::string& title);

// The bytes of the page. Elements that HTML does not let end themselves ("<td />") get an end tag.
std::string page_bytes(pugi::xml_document& document);

// A table with its caption and a head row of column names, inside a box that scrolls sideways on a
// narrow screen; returns its tbody.
pugi::xml_node table(pugi::xml_node parent, const std::string& caption,
                     std::initializer_list<const char*> columns);
// A row: a head cell for the row, then a cell for each further text.
pugi::xml_node row(pugi::xml_node tbody, std::initializer_list<std::string> cells);

// A <figure> with its caption and an empty <svg role="img"> that has title and description for
// those who do not see it; returns the svg. `id` is unique in the page; drawn width_px by
// height_px.
pugi::xml_node chart(pugi::xml_node parent, const std::string& id, const std::string& title,
                     const std::string& description, const std::string& caption, double width_px,
                     double height_px);

}  // namespace nocktrail::page
