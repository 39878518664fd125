// The rules and examples of RFC 4180, section 2, and what breaks them.
#include "csv.hpp"

#include <doctest/doctest.h>

#include "asking.hpp"

using nocktrail::logbook::csv_line;
using nocktrail::logbook::CsvField;
using nocktrail::logbook::CsvRecord;
using nocktrail::logbook::parse_csv;
using test::complaint;
using test::says;

namespace {

using Fields = std::vector<CsvField>;

std::vector<Fields> fields_of(std::string_view text) {
  std::vector<Fields> out;
  for (const CsvRecord& record : parse_csv(text, "x.csv")) {
    out.push_back(record.fields);
  }
  return out;
}

}  // namespace

TEST_CASE("reference: the examples of RFC 4180, section 2") {
  const Fields abc = {"aaa", "bbb", "ccc"};
  const Fields zyx = {"zzz", "yyy", "xxx"};
  // 1: each record on a line of its own, ended by CRLF.
  CHECK(fields_of("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n") == std::vector<Fields>{abc, zyx});
  // 2: the last record may or may not have a line break.
  CHECK(fields_of("aaa,bbb,ccc\r\nzzz,yyy,xxx") == std::vector<Fields>{abc, zyx});
  // 4: blanks are part of a field.
  CHECK(fields_of(" aaa ,bbb\r\n") == std::vector<Fields>{{" aaa ", "bbb"}});
  // 5: fields may be quoted.
  CHECK(fields_of("\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx") == std::vector<Fields>{abc, zyx});
  // 6: line breaks, quotes and commas inside quotes.
  CHECK(fields_of("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx") ==
        std::vector<Fields>{{"aaa", "b\r\nbb", "ccc"}, zyx});
  // 7: a quote inside is doubled.
  CHECK(fields_of("\"aaa\",\"b\"\"bb\",\"ccc\"") == std::vector<Fields>{{"aaa", "b\"bb", "ccc"}});
}

TEST_CASE("reference: lines as RFC 4180, section 2, writes them") {
  CHECK(csv_line({"aaa", "bbb", "ccc"}) == "aaa,bbb,ccc\r\n");
  CHECK(csv_line({"aaa", "b\r\nbb", "ccc"}) == "aaa,\"b\r\nbb\",ccc\r\n");
  CHECK(csv_line({"aaa", "b\"bb", "c,c"}) == "aaa,\"b\"\"bb\",\"c,c\"\r\n");
}

TEST_CASE("unit: nothing is told from empty text, there and back") {
  const Fields fields = {CsvField(), "", "x", CsvField()};
  CHECK(csv_line(fields) == ",\"\",x,\r\n");
  CHECK(fields_of(csv_line(fields)) == std::vector<Fields>{fields});
}

TEST_CASE(
    "unit: a byte order mark and bare line feeds are taken; lines are counted inside quotes") {
  CHECK(fields_of("\xEF\xBB\xBFid,name\n1,x\n") == std::vector<Fields>{{"id", "name"}, {"1", "x"}});
  const std::vector<CsvRecord> records = parse_csv("a\r\n\"b\r\nb\"\r\nc\r\n", "x.csv");
  CHECK(records.at(1).line == 2);
  CHECK(records.at(2).line == 4);
}

TEST_CASE("fault: what breaks RFC 4180 is refused with its line") {
  CHECK(says(complaint([] { parse_csv("a\r\nb\"b\r\n", "x.csv"); }), "x.csv, line 2: a quote"));
  CHECK(says(complaint([] { parse_csv("a\r\n\"b\"b\r\n", "x.csv"); }), "line 2: text after"));
  CHECK(
      says(complaint([] { parse_csv("a\r\n\"b\r\nc\r\n", "x.csv"); }), "line 2: a quote that is"));
  CHECK(says(complaint([] { parse_csv("a\rb\r\n", "x.csv"); }), "line 1: a carriage return"));
}
