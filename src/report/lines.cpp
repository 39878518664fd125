#include "nocktrail/report/lines.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <numeric>
#include <utility>

namespace nocktrail::report {
namespace {

constexpr std::size_t kBetweenColumns = 2;

}  // namespace

std::size_t columns_of(std::string_view utf8) {
  return static_cast<std::size_t>(std::count_if(utf8.begin(), utf8.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U;
  }));
}

std::string line(std::string_view words, std::size_t width, std::size_t indent) {
  std::string out(indent, ' ');
  std::size_t column = indent;
  bool first = true;
  while (!words.empty()) {
    const std::size_t end = words.find(' ');
    const std::string_view word = words.substr(0, end);
    words.remove_prefix(end == std::string_view::npos ? words.size() : end + 1);
    const std::size_t length = columns_of(word);
    if (!first && width > 0 && column + 1 + length > width) {
      out += '\n';
      out.append(indent + 2, ' ');
      column = indent + 2;
    } else if (!first) {
      out += ' ';
      ++column;
    }
    out += word;
    column += length;
    first = false;
  }
  return out + "\n";
}

std::string lines(std::string_view text, std::size_t width) {
  std::string out;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    const std::string_view one = text.substr(0, end);
    text.remove_prefix(std::min(end + 1, text.size()));
    const std::size_t blanks = std::min(one.find_first_not_of(' '), one.size());
    out += line(one.substr(blanks), width, blanks);
  }
  return out;
}

TextTable::TextTable(std::vector<std::string> headings) {
  rows_.push_back(std::move(headings));
}

void TextTable::add(std::vector<std::string> row) {
  rows_.push_back(std::move(row));
}

std::vector<std::size_t> TextTable::widths() const {
  std::vector<std::size_t> widths(rows_.front().size(), 0);
  for (const auto& row : rows_) {
    for (std::size_t i = 0; i < row.size(); ++i) {
      widths[i] = std::max(widths[i], columns_of(row[i]));
    }
  }
  return widths;
}

std::string TextTable::text(std::size_t width) const {
  const std::vector<std::size_t> wide = widths();
  const std::size_t whole =
      std::accumulate(wide.begin(), wide.end(), kBetweenColumns * (wide.size() - 1));
  std::string out;
  if (width > 0 && whole > width) {
    for (std::size_t r = 1; r < rows_.size(); ++r) {
      std::string words;
      for (std::size_t i = 0; i < rows_[r].size(); ++i) {
        if (!rows_[r][i].empty() && rows_[r][i] != "-") {
          words +=
              fmt::format("{}{}: {}", words.empty() ? "" : "; ", rows_.front()[i], rows_[r][i]);
        }
      }
      out += line(words, width);
    }
    return out;
  }
  for (const auto& row : rows_) {
    std::string one;
    for (std::size_t i = 0; i < row.size(); ++i) {
      one += row[i];
      if (i + 1 < row.size()) {
        one.append(wide[i] - columns_of(row[i]) + kBetweenColumns, ' ');
      }
    }
    one.erase(one.find_last_not_of(' ') + 1);
    out += one + "\n";
  }
  return out;
}

}  // namespace nocktrail::report
