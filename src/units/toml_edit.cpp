#include "nocktrail/units/toml_edit.hpp"

#include <fmt/format.h>

#include <toml++/toml.h>
#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstdint>
#include <functional>
#include <iterator>

#include "nocktrail/error.hpp"
#include "toml_depth.hpp"

namespace nocktrail::units {
namespace {

using Path = std::vector<std::string>;

constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";

toml::table parsed(std::string_view text, std::string_view source) {
  if (too_deep_line(text)) {
    throw BadInput(fmt::format("{}: is nested deeper than any field; change it by hand", source));
  }
  try {
    return toml::parse(text, source);
  } catch (const toml::parse_error& error) {
    throw BadInput(fmt::format("{}: line {}: cannot be understood; mend it by hand first", source,
                               error.source().begin.line));
  }
}

// A basic string (TOML 1.0, "String").
std::string quoted(std::string_view words) {
  std::string out = "\"";
  for (const char c : words) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '"' || c == '\\') {
      out += '\\';
      out += c;
    } else if (c == '\n') {
      out += "\\n";
    } else if (byte < 0x20 || byte == 0x7F) {
      out += fmt::format("\\u{:04X}", byte);
    } else {
      out += c;
    }
  }
  return out + '"';
}

// What is written under a key.
struct Value {
  std::string literal;
  std::function<void(toml::table&, const std::string& key)> put;
};

Value text_value(const std::string& words) {
  return {quoted(words), [words](toml::table& table, const std::string& key) {
            table.insert_or_assign(key, words);
          }};
}

Value number_value(double number) {
  constexpr double kWhole = 1e15;  // up to which every whole number is one of double's
  if (number == std::floor(number) && std::abs(number) < kWhole) {
    const auto whole = static_cast<std::int64_t>(number);
    return {fmt::format("{}", whole), [whole](toml::table& table, const std::string& key) {
              table.insert_or_assign(key, whole);
            }};
  }
  return {fmt::format("{}", number), [number](toml::table& table, const std::string& key) {
            table.insert_or_assign(key, number);
          }};
}

std::string key_text(const std::string& key) {
  const bool bare = !key.empty() && std::all_of(key.begin(), key.end(), [](unsigned char c) {
    return std::isalnum(c) != 0 || c == '_' || c == '-';
  });
  return bare ? key : quoted(key);
}

// Byte of a place in the text. toml++ counts lines from 1 and, within them, characters of UTF-8
// from 1.
std::size_t byte_of(std::string_view text, const toml::source_position& place) {
  // A byte order mark is no character.
  std::size_t at = text.starts_with(kByteOrderMark) ? kByteOrderMark.size() : 0;
  for (toml::source_index line = 1; line < place.line; ++line) {
    at = std::min(text.find('\n', at), text.size() - 1) + 1;
  }
  for (toml::source_index column = 1; column < place.column && at < text.size(); ++column) {
    ++at;
    while (at < text.size() && (static_cast<unsigned char>(text[at]) & 0xC0U) == 0x80U) {
      ++at;
    }
  }
  return at;
}

const toml::table* table_at(const toml::table& root, const Path& path) {
  const toml::table* table = &root;
  for (std::size_t i = 0; i + 1 < path.size() && table != nullptr; ++i) {
    const toml::node* node = table->get(path[i]);
    table = node == nullptr ? nullptr : node->as_table();
  }
  return table;
}

// What the file is to mean.
void apply(toml::table& root, const Path& path, const std::optional<Value>& value) {
  toml::table* table = &root;
  for (std::size_t i = 0; i + 1 < path.size() && table != nullptr; ++i) {
    if (!table->contains(path[i])) {
      table->insert(path[i], toml::table{});
    }
    table = table->get(path[i])->as_table();
  }
  if (table == nullptr) {
    return;  // the comparison says so
  }
  if (value) {
    value->put(*table, path.back());
  } else {
    table->erase(path.back());
  }
}

class Edit {
 public:
  Edit(std::string_view text, const Path& path) : text_(text), path_(path) {
    newline_ = text_.find("\r\n") == std::string::npos ? "\n" : "\r\n";
  }

  std::string replaced(const toml::node& old, const Value& value) const {
    const std::size_t from = byte_of(text_, old.source().begin);
    const std::size_t to = byte_of(text_, old.source().end);
    return text_.substr(0, from) + value.literal + text_.substr(to);
  }

  // The line goes, unless a comment follows, which stays.
  std::string removed(const toml::key& key, const toml::node& old) const {
    std::size_t from = byte_of(text_, key.source().begin);
    std::size_t to = byte_of(text_, old.source().end);
    const auto blank = [](char c) { return c == ' ' || c == '\t'; };
    while (to < text_.size() && blank(text_[to])) {
      ++to;
    }
    if (to == text_.size() || text_[to] == '\r' || text_[to] == '\n') {
      while (from > 0 && blank(text_[from - 1])) {
        --from;
      }
      to = std::min(text_.find('\n', to), text_.size() - 1) + 1;
    }
    return text_.substr(0, from) + text_.substr(to);
  }

  std::string added_to(const toml::table& table, const Value& value) const {
    std::size_t at = byte_of(text_, table.source().begin);
    at = text_.find('\n', at);
    return at == std::string::npos ? text_ + newline_ + line(value)
                                   : text_.substr(0, at + 1) + line(value) + text_.substr(at + 1);
  }

  // A key of no table comes before all tables.
  std::string at_the_top(const Value& value) const {
    const std::size_t at = text_.starts_with(kByteOrderMark) ? kByteOrderMark.size() : 0;
    return text_.substr(0, at) + line(value) + text_.substr(at);
  }

  std::string with_table(const Value& value) const {
    std::string header;
    for (std::size_t i = 0; i + 1 < path_.size(); ++i) {
      header += i == 0 ? "" : ".";
      header += key_text(path_[i]);
    }
    std::string out = text_;
    if (!out.empty()) {
      out += out.back() == '\n' ? newline_ : newline_ + newline_;
    }
    return out + fmt::format("[{}]{}", header, newline_) + line(value);
  }

 private:
  std::string line(const Value& value) const {
    return fmt::format("{} = {}{}", key_text(path_.back()), value.literal, newline_);
  }

  std::string text_;
  const Path& path_;
  std::string newline_;
};

std::string with_value(std::string_view toml, std::string_view source, const Path& path,
                       const std::optional<Value>& value) {
  const toml::table before = parsed(toml, source);
  const toml::table* table = table_at(before, path);
  const Edit edit(toml, path);
  std::string text;
  const auto found = table == nullptr ? toml::table::const_iterator{} : table->find(path.back());
  if (table != nullptr && found != table->end()) {
    text = value ? edit.replaced(found->second, *value) : edit.removed(found->first, found->second);
  } else if (!value) {
    return std::string(toml);
  } else if (path.size() == 1) {
    text = edit.at_the_top(*value);
  } else {
    text = table != nullptr ? edit.added_to(*table, *value) : edit.with_table(*value);
  }
  toml::table wanted = before;
  apply(wanted, path, value);
  bool as_wanted = false;
  try {
    as_wanted = parsed(text, source) == wanted;
  } catch (const BadInput&) {
    // Said below, of the file as it is.
  }
  if (!as_wanted) {
    throw BadInput(
        fmt::format("{}: {} is written in a way that cannot be changed from here; change "
                    "it by hand",
                    source, path.back()));
  }
  return text;
}

}  // namespace

std::string with_text(std::string_view toml, std::string_view source, const Path& path,
                      const std::optional<std::string>& value) {
  return with_value(toml, source, path,
                    value ? std::optional<Value>(text_value(*value)) : std::nullopt);
}

std::string with_number(std::string_view toml, std::string_view source, const Path& path,
                        double value) {
  return with_value(toml, source, path, number_value(value));
}

}  // namespace nocktrail::units
