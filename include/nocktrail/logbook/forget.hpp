// What an archer wants to see no more in any answer, and the way back.
//
// Nothing is deleted: rows are marked, and stay marked when their folder is read again. A clip and
// a shot are forgotten by their content, wherever a copy of it lies; a session is forgotten by
// itself, and a clip that another session holds too counts there. Verdicts that were given with a
// forgotten shot stay as they are (SetupAnswer::forgotten counts them).
#pragma once

#include <string>
#include <vector>

#include "nocktrail/logbook/logbook.hpp"

namespace nocktrail::logbook {

struct Entry {
  std::string session;  // by name or folder; empty: whichever holds the clip
  // "b.mp4", where several set-ups have one of that name "2-lower/b.mp4", of one shot "b.mp4#2".
  // Empty: the whole session.
  std::string clip;
};

struct ForgottenEntry {
  std::string session;
  std::string folder;
  std::string setup;  // empty for a whole session, like `clip`
  std::string clip;
  int number = 0;  // of the shot; 0: all of the clip
  std::string at;  // when it was forgotten; UTC
};

// Both give what they did, and change nothing where that was done before. They throw BadInput as
// the Logbook does, and for what the logbook does not hold or holds several times, naming what
// would tell them apart.
ForgottenEntry forget(Logbook& logbook, const Entry& entry);
ForgottenEntry take_back(Logbook& logbook, const Entry& entry);

// Sessions, clips and shots, in order of the time they were forgotten at.
std::vector<ForgottenEntry> forgotten(const Logbook& logbook);

}  // namespace nocktrail::logbook
