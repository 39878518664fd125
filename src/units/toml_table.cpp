#include "nocktrail/units/toml_table.hpp"

#include <fmt/format.h>

#include <toml++/toml.h>
#include <algorithm>
#include <cctype>
#include <numeric>

#include "nocktrail/error.hpp"
#include "nocktrail/units/hand_written.hpp"
#include "nocktrail/units/units.hpp"
#include "toml_depth.hpp"

namespace nocktrail::units {
namespace {

// What a message quotes of a file at most, and how many of its fields it names.
constexpr std::size_t kMostSaid = 400;
constexpr std::size_t kMostNamed = 4;
// A quantity is a number and a unit.
constexpr std::size_t kLongestQuantity = 100;
// Names so long are no slip of the pen.
constexpr std::size_t kLongestCompared = 200;

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 0; i < a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i + 1;
    for (std::size_t j = 0; j < b.size(); ++j) {
      const std::size_t replaced = diagonal + (a[i] == b[j] ? 0 : 1);
      diagonal = row[j + 1];
      row[j + 1] = std::min({replaced, row[j] + 1, row[j + 1] + 1});
    }
  }
  return row.back();
}

// Edits, but a name that begins like the other is as good as one edit away.
std::size_t distance(std::string_view name, std::string_view other) {
  if (std::max(name.size(), other.size()) > kLongestCompared) {
    return kLongestCompared;
  }
  const std::size_t edits = edit_distance(name, other);
  const bool begins_alike =
      !name.empty() && !other.empty() && (other.starts_with(name) || name.starts_with(other));
  return begins_alike ? std::min<std::size_t>(1, edits) : edits;
}

template <typename Entry>
std::size_t line_of_entry(const Entry& entry) {
  // A table made by "[a.b]" has no place of its own; its key has.
  const std::size_t line = entry.first.source().begin.line;
  return line != 0 ? line : entry.second.source().begin.line;
}

// As TOML writes a key: bare where it can be, else quoted.
std::string key_text(const std::string& key) {
  const bool bare = !key.empty() && std::all_of(key.begin(), key.end(), [](unsigned char c) {
    return std::isalnum(c) != 0 || c == '_' || c == '-';
  });
  const std::string shown = quoted_briefly(key);
  return bare ? shown : fmt::format("\"{}\"", shown);
}

// What an archer can do about a line that is no TOML; the library's own words are of grammar.
std::string slip_words(std::string_view description) {
  return description.find("redefine") != std::string_view::npos
             ? "this is told a second time in the same part; leave one of the two"
             : "this cannot be read; a line is word = value, and text and measures stand in "
               "straight "
               "quotes, as in draw_length = \"28in\"";
}

}  // namespace

struct TomlTable::Nodes {
  std::shared_ptr<const toml::table> file;  // owns the nodes
  const toml::table* table = nullptr;
};

TomlTable TomlTable::parse(std::string_view text, std::string_view source) {
  if (text.find('\0') != std::string_view::npos) {
    throw BadInput(fmt::format(
        "{}: is no text; what is read here is written by hand, lines of word = value", source));
  }
  if (const std::optional<std::size_t> line = too_deep_line(text)) {
    throw BadInput(
        fmt::format("{}: line {}: nested deeper than any field; look for dots or brackets too many",
                    source, *line));
  }
  auto nodes = std::make_shared<Nodes>();
  try {
    nodes->file = std::make_shared<const toml::table>(toml::parse(text, source));
  } catch (const toml::parse_error& error) {
    throw BadInput(fmt::format("{}: line {}, column {}: {}", source, error.source().begin.line,
                               error.source().begin.column, slip_words(error.description())));
  }
  nodes->table = nodes->file.get();
  TomlTable table(std::move(nodes));
  table.source_ = source;
  return table;
}

bool TomlTable::has(const std::string& key) const {
  return nodes_->table->get(key) != nullptr;
}

std::vector<std::string> TomlTable::keys() const {
  std::vector<std::string> names;
  for (const auto& [key, value] : *nodes_->table) {
    names.emplace_back(key.str());
  }
  return names;
}

std::size_t TomlTable::line_of(const std::string& key) const {
  const auto found = nodes_->table->find(key);
  return found == nodes_->table->end() ? 0 : line_of_entry(*found);
}

std::optional<std::string> TomlTable::text(const std::string& key) {
  return string_of(key, kLongestQuantity,
                   " must be text in quotes, with its unit, for example \"28in\"");
}

std::optional<std::string> TomlTable::words(const std::string& key, std::size_t most) {
  return string_of(key, most, " must be text in quotes");
}

std::optional<std::string> TomlTable::string_of(const std::string& key, std::size_t most,
                                                std::string_view otherwise) {
  known_.push_back(key);
  const toml::node* node = nodes_->table->get(key);
  if (node == nullptr) {
    return std::nullopt;
  }
  const auto* value = node->as_string();
  if (value == nullptr) {
    fail(key, otherwise);
  }
  if (value->get().size() > most) {
    fail(key, fmt::format(" is too long; give at most {} characters", most));
  }
  return value->get();
}

std::optional<double> TomlTable::number(const std::string& key) {
  known_.push_back(key);
  const toml::node* node = nodes_->table->get(key);
  if (node == nullptr) {
    return std::nullopt;
  }
  if (const std::optional<double> value = node->value<double>(); value && node->is_number()) {
    return value;
  }
  fail(key, " must be a plain number");
}

std::optional<double> TomlTable::angle_deg(const std::string& key) {
  const toml::node* node = nodes_->table->get(key);
  if (node == nullptr || !node->is_string()) {
    return number(key);
  }
  return parse_angle_deg(*text(key), field(key));
}

double TomlTable::missing(const std::string& key, std::string_view example) const {
  throw BadInput(
      fmt::format("{} is missing; add a line such as {} = \"{}\"", field(key), key, example));
}

std::optional<TomlTable> TomlTable::inner(const std::string& key) {
  known_.push_back(key);
  const toml::node* node = nodes_->table->get(key);
  if (node == nullptr) {
    return std::nullopt;
  }
  if (node->as_table() == nullptr) {
    fail(key, fmt::format(" must be a section: a line [{}{}] with its fields below", prefix_,
                          key_text(key)));
  }
  auto nodes = std::make_shared<Nodes>(*nodes_);
  nodes->table = node->as_table();
  TomlTable table(std::move(nodes));
  table.prefix_ = prefix_ + key_text(key) + ".";
  table.source_ = source_;
  return table;
}

void TomlTable::refuse_unknown(std::span<const std::string_view> elsewhere) const {
  struct Unknown {
    std::size_t line;
    std::string name;
  };
  std::vector<Unknown> unknown;
  for (const auto& entry : *nodes_->table) {
    if (std::find(known_.begin(), known_.end(), entry.first.str()) == known_.end()) {
      unknown.push_back({line_of_entry(entry), std::string(entry.first.str())});
    }
  }
  if (unknown.empty()) {
    return;
  }
  // In the order of the file, so that the first complaint is about the first slip.
  const std::size_t named = std::min(unknown.size(), kMostNamed);
  std::partial_sort(unknown.begin(), unknown.begin() + static_cast<std::ptrdiff_t>(named),
                    unknown.end(),
                    [](const Unknown& a, const Unknown& b) { return a.line < b.line; });
  std::string others;
  for (std::size_t i = 1; i < named; ++i) {
    others += fmt::format("{}{}{} (line {})", i == 1 ? "; nor is " : ", ", prefix_,
                          key_text(unknown[i].name), unknown[i].line);
  }
  if (unknown.size() > named) {
    others += fmt::format(" and {} more", unknown.size() - named);
  }
  const std::string* first = &unknown.front().name;
  // A field in the wrong table is likelier than one misspelt by half its letters.
  constexpr std::size_t kFewEdits = 2;
  std::string nearest = nearest_name(*first, known_);
  std::size_t best = nearest.empty() ? kFewEdits + 1 : distance(*first, nearest);
  nearest = nearest.empty() ? nearest : prefix_ + nearest;
  if (best > kFewEdits) {
    for (const std::string_view other : elsewhere) {
      const std::size_t edits = distance(*first, other.substr(other.rfind('.') + 1));
      if (edits < best && edits <= kFewEdits) {
        best = edits;
        nearest = other;
      }
    }
  }
  fail(*first, (nearest.empty() ? std::string(" is not a known field")
                                : fmt::format(" is not a known field; did you mean {}?", nearest)) +
                   others);
}

std::string TomlTable::field(const std::string& key) const {
  const std::size_t line = line_of(key);
  return fmt::format("{}: {}{}{}", source_, line != 0 ? fmt::format("line {}: ", line) : "",
                     prefix_, key_text(key));
}

void TomlTable::fail(const std::string& key, std::string_view message) const {
  throw BadInput(field(key) + quoted_briefly(message, kMostSaid));
}

std::string nearest_name(std::string_view name, std::span<const std::string> known) {
  const auto nearest =
      std::min_element(known.begin(), known.end(), [&](const std::string& a, const std::string& b) {
        return distance(name, a) < distance(name, b);
      });
  return nearest == known.end() ? std::string() : *nearest;
}

std::string nearly_right(std::string_view name, std::span<const std::string> known) {
  const auto lower = [](std::string words) {
    for (char& c : words) {
      c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    }
    return words;
  };
  std::vector<std::string> lowered;
  lowered.reserve(known.size());
  for (const std::string& one : known) {
    lowered.push_back(lower(one));
  }
  const std::string meant = lower(std::string(name));
  const std::string nearest = nearest_name(meant, lowered);
  if (nearest.empty() ||
      5 * distance(meant, nearest) > 2 * std::max(meant.size(), nearest.size())) {
    return {};
  }
  const auto at = std::find(lowered.begin(), lowered.end(), nearest) - lowered.begin();
  return known[static_cast<std::size_t>(at)];
}

}  // namespace nocktrail::units
