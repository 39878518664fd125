// Names of bows and arrows: those the logbook knows, and what is said of one it does not.
#pragma once

#include <SQLiteCpp/Database.h>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "nocktrail/logbook/logbook.hpp"

namespace nocktrail::logbook {

bool same_name(std::string_view a, std::string_view b);  // whatever their case

// Of set-ups and, of bows, of notes; a name that was mended is not known any more. `answered`: only
// of set-ups that are in some answer.
std::vector<std::string> known_names(SQLite::Database& database, NameKind kind, bool answered);

// Of a fact, among those known, answered or not. Empty for a name that is known, for none, and as
// long as no name is known at all.
std::optional<NewName> if_new(const std::vector<std::string>& known, NameKind kind,
                              const std::string& name);

// Of a question: throws BadInput for a name that is not known, with those that are.
void check_name(const Logbook& logbook, NameKind kind, const std::string& name);

}  // namespace nocktrail::logbook
