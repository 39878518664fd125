// Hand-written TOML files, read so that every complaint names the file, the line and the field,
// and a misspelt field gets its nearest known neighbour.
#pragma once

#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace nocktrail::units {

// One table of a file; remembers what it was asked for, so that the rest can be named as unknown.
// Every function throws BadInput, one line "FILE: line N: FIELD ...", when the value is of another
// kind than asked for.
class TomlTable {
 public:
  // The whole file; `source` names the text in messages (its path). Throws BadInput for syntax,
  // with line and column, and for a text nested deeper than any of ours.
  static TomlTable parse(std::string_view text, std::string_view source);

  bool has(const std::string& key) const;
  // Names of all keys, sorted.
  std::vector<std::string> keys() const;
  // 0 where the key is not there.
  std::size_t line_of(const std::string& key) const;

  std::optional<std::string> text(const std::string& key);  // a quantity with its unit
  // Any text, of at most so many bytes.
  std::optional<std::string> words(const std::string& key, std::size_t most = 400);
  std::optional<double> number(const std::string& key);
  std::optional<double> angle_deg(const std::string& key);  // a plain number, or "15 deg"

  // `convert` is one of units::parse_...
  template <typename Parse>
  std::optional<double> quantity(const std::string& key, Parse convert) {
    const std::optional<std::string> value = text(key);
    return value ? std::optional<double>(convert(*value, field(key))) : std::nullopt;
  }
  template <typename Parse>
  double needed(const std::string& key, Parse convert, std::string_view example) {
    const std::optional<double> value = quantity(key, convert);
    return value ? *value : missing(key, example);
  }

  // A table within; empty where it is not there.
  std::optional<TomlTable> inner(const std::string& key);

  // Call last: throws for the first key that nobody asked for, and names some of the others.
  // `elsewhere` are full names ("bow.brace_height") of fields that belong in other tables of the
  // file.
  void refuse_unknown(std::span<const std::string_view> elsewhere = {}) const;

  // "FILE: line N: bow.brace_height"; without the line where the key is not there.
  std::string field(const std::string& key) const;
  // Throws BadInput: field(key) and `message`.
  [[noreturn]] void fail(const std::string& key, std::string_view message) const;
  const std::string& source() const { return source_; }

 private:
  struct Nodes;  // toml++ stays out of the header

  explicit TomlTable(std::shared_ptr<const Nodes> nodes) : nodes_(std::move(nodes)) {}
  std::optional<std::string> string_of(const std::string& key, std::size_t most,
                                       std::string_view otherwise);
  double missing(const std::string& key, std::string_view example) const;

  std::shared_ptr<const Nodes> nodes_;
  std::string prefix_;  // "bow.", or empty for the whole file
  std::string source_;
  std::vector<std::string> known_;
};

// The one of `known` that `name` was most likely meant to be; empty when there is none. Fewest
// edits (Levenshtein's distance); a name that begins like the known one counts as one edit.
std::string nearest_name(std::string_view name, std::span<const std::string> known);

// The same where it is so near that a slip of the pen explains it: case apart, two edits
// at most for each five characters (two letters swapped are two). Empty: none is.
std::string nearly_right(std::string_view name, std::span<const std::string> known);

}  // namespace nocktrail::units
