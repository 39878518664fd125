// What the hand-written files of a session say of one clip, for the commands that take a clip.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/pipeline/read_clip.hpp"
#include "nocktrail/report/json.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::cli {

struct ToldFacts {
  tune::SetupFacts facts;      // that hold: of the folder's files, over the archer's profile
  tune::SetupFacts of_folder;  // without the profile
  bool in_session = false;     // there are files of a folder
  bool any = false;            // of either
};

// By the file `asked` (a session.toml or setup.toml), else, where that is empty, by those of the
// folders in which the clip lies, and the archer's profile beneath; of another arrow than the one
// that `options` tell of, nothing of the profile's. Throws BadInput for a file with faults.
ToldFacts told_facts(const std::string& asked, const std::filesystem::path& clip,
                     const ReadClipOptions& options);

// Takes from the facts what `options` leaves open.
void fill_from(const tune::SetupFacts& facts, ReadClipOptions& options);

// The reading of a clip that its session's folder keeps, made of this very content with the facts
// that hold; empty where there is none, or nothing can be read there. Never reads the clip, nor
// makes a folder.
std::optional<Reading> kept_reading(const std::filesystem::path& clip, double dead_band_deg);

// What a clip is read with and where each fact is from. `asked`: by the command line alone; `used`:
// with what `told` filled in.
std::vector<report::FactUsed> facts_used(const ReadClipOptions& asked, const ReadClipOptions& used,
                                         const ToldFacts& told);

// In words: "right hand (told), arrow 30 in (your profile)".
std::string read_with_words(const std::vector<report::FactUsed>& facts);

}  // namespace nocktrail::cli
