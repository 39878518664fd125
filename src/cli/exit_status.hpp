// What the program's exit status says; scripts rely on it.
#pragma once

namespace nocktrail::cli {

enum ExitStatus : int {
  kAllMeasured = 0,    // every clip gave at least one measured shot
  kProgramFault = 1,   // a fault of the program itself
  kWrongUsage = 2,     // the command line is wrong
  kNotMeasured = 3,    // some clip was readable but not measured
  kUnreadable = 4,     // some file could not be read as video
  kInterrupted = 130,  // stopped by Ctrl-C, as shells report it (128 + SIGINT)
};

}  // namespace nocktrail::cli
