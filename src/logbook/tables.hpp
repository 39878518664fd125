// The whole content of a logbook as plain data, between the database and its exports.
#pragma once

#include <string>
#include <vector>

#include "nocktrail/logbook/logbook.hpp"
#include "values.hpp"

namespace nocktrail::logbook {

struct Table {
  std::string name;
  std::vector<std::string> columns;
  std::vector<std::vector<Value>> rows;
  std::vector<std::string> where;  // of each row, for complaints: "shots.csv, line 7"
};

struct Tables {
  int version = 0;
  bool all_text = false;  // numbers are still written out, as in CSV
  std::vector<Table> tables;
};

// At one instant, whatever another process writes meanwhile.
Tables read_tables(const Logbook::Store& store);

// Of another logbook, read: what no logbook of the program would hold is refused as in an import.
Tables checked(Tables tables, const std::string& source);

// In one transaction, into an empty logbook. `source` names the export in complaints. Throws
// BadInput for whatever does not fit, in which row and column.
long write_tables(Logbook::Store& store, Tables tables, const std::string& source);

// 2 for "nocktrail.logbook/2". Throws BadInput naming `source` for another schema or a version
// this program does not know.
int version_of_schema(const std::string& schema, const std::string& source);

bool is_utf8(const std::string& bytes);

}  // namespace nocktrail::logbook
