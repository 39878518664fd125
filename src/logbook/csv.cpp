#include "csv.hpp"

#include <fmt/format.h>

#include "nocktrail/error.hpp"

namespace nocktrail::logbook {
namespace {

class Parser {
 public:
  Parser(std::string_view text, std::string_view source) : text_(text), source_(source) {
    constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";
    if (text_.starts_with(kByteOrderMark)) {
      text_.remove_prefix(kByteOrderMark.size());
    }
  }

  std::vector<CsvRecord> records() {
    std::vector<CsvRecord> records;
    while (at_ < text_.size()) {
      CsvRecord record;
      record.line = line_;
      do {
        record.fields.push_back(field());
      } while (take(','));
      if (at_ < text_.size() && !take_line_break()) {
        fail("text after a closing quote");
      }
      records.push_back(std::move(record));
    }
    return records;
  }

 private:
  bool take(char wanted) {
    if (at_ < text_.size() && text_[at_] == wanted) {
      ++at_;
      return true;
    }
    return false;
  }

  bool take_line_break() {
    if (text_[at_] == '\r') {
      ++at_;
      if (at_ == text_.size() || text_[at_] != '\n') {
        fail("a carriage return without a line feed");
      }
    }
    if (!take('\n')) {
      return false;
    }
    ++line_;
    return true;
  }

  CsvField field() {
    if (take('"')) {
      return quoted();
    }
    const std::size_t begin = at_;
    while (at_ < text_.size()) {
      const char c = text_[at_];
      if (c == ',' || c == '\r' || c == '\n') {
        break;
      }
      if (c == '"') {
        fail("a quote inside a field that is not quoted");
      }
      ++at_;
    }
    return at_ == begin ? CsvField() : CsvField(std::string(text_.substr(begin, at_ - begin)));
  }

  CsvField quoted() {
    const int opened = line_;
    std::string out;
    while (at_ < text_.size()) {
      const char c = text_[at_++];
      if (c == '"' && !take('"')) {
        return out;
      }
      line_ += c == '\n' ? 1 : 0;
      out += c;
    }
    line_ = opened;
    fail("a quote that is never closed");
  }

  [[noreturn]] void fail(const char* why) const {
    throw BadInput(
        fmt::format("{}, line {}: {}; nothing was imported; mend that line or export again",
                    source_, line_, why));
  }

  std::string_view text_;
  std::string_view source_;
  std::size_t at_ = 0;
  int line_ = 1;
};

}  // namespace

std::string csv_line(const std::vector<CsvField>& fields) {
  std::string out;
  for (std::size_t i = 0; i < fields.size(); ++i) {
    out += i == 0 ? "" : ",";
    if (!fields[i]) {
      continue;
    }
    const std::string& words = *fields[i];
    if (!words.empty() && words.find_first_of(",\"\r\n") == std::string::npos) {
      out += words;
      continue;
    }
    out += '"';
    for (const char c : words) {
      out += c;
      if (c == '"') {
        out += c;
      }
    }
    out += '"';
  }
  return out + "\r\n";
}

std::vector<CsvRecord> parse_csv(std::string_view text, std::string_view source) {
  return Parser(text, source).records();
}

}  // namespace nocktrail::logbook
