// Lines and tables for the terminal and for a screen reader: broken between words, no drawn boxes.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace nocktrail::report {

// Characters of UTF-8.
std::size_t columns_of(std::string_view utf8);

// `words`, without an end of line, broken between words where they pass `width` columns (0: never)
// and continued two columns further in than `indent`. Ends in a newline.
std::string line(std::string_view words, std::size_t width, std::size_t indent = 0);

// A text of several lines, each broken so and continued by its own blanks at the beginning.
std::string lines(std::string_view text, std::size_t width);

// Columns padded to one width, two blanks apart.
class TextTable {
 public:
  explicit TextTable(std::vector<std::string> headings);

  void add(std::vector<std::string> row);  // as long as the headings

  // Ends in a newline. Where a table would pass `width` columns (0: never), each row is a line of
  // its own, "Heading: value; Heading: value", without the values that are not there ("", "-").
  std::string text(std::size_t width = 0) const;

 private:
  std::vector<std::size_t> widths() const;

  std::vector<std::vector<std::string>> rows_;
};

}  // namespace nocktrail::report
