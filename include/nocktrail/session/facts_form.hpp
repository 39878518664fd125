// The hand-written facts of a session, a set-up or one clip as a form: what each field of the file
// says, and changes of single fields written into it in place. Comments, order and whatever a form
// does not know stay, and the version before is kept beside the file.
#pragma once

#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "nocktrail/session/facts_file.hpp"

namespace nocktrail::session {

struct FactField {
  enum class Kind { quantity, number, angle, words, text, choice };
  const char* field;    // "bow.brace_height", as in the file
  const char* words;    // "Brace height"
  const char* example;  // as people type it; of a choice all that can be chosen, "right|left"
  Kind kind = Kind::quantity;
  bool session_only = false;  // not of a set-up
};

// In the order of the template, the fields of one table together.
std::span<const FactField> fact_fields();

// What may be told of one clip alone, in [clip."NAME"]; that it is left out is facts_edit.hpp's.
std::span<const FactField> clip_fields();

// One field as it stands.
struct FactStands {
  std::string value;   // what the file says, without quotes; empty: nothing
  std::string before;  // what holds where it says nothing: of a file before; empty: nothing
  std::string where;   // the set-up of that, or "the session", or "your profile"
};

struct FactsForm {
  std::string file;                 // "2-lower/setup.toml"
  std::string setup;                // "." for the session's own
  std::string clip;                 // empty: of the whole set-up
  std::vector<std::string> setups;  // that have a form, in their order
  std::vector<FactStands> stands;   // of fact_fields(), or clip_fields()
  std::string fault;                // of the file; empty: none
};

// `setup`: "." is the session's own file, which every session may have. With `clip`, the name of a
// file in that set-up, the form is of that clip alone, in the file that tells something of it
// already, else in its set-up's. Empty when there is no such set-up or clip. Throws BadInput where
// the folder cannot be listed or a file not be understood at all.
std::optional<FactsForm> facts_form(const std::filesystem::path& folder, const ArcherFiles& archer,
                                    const std::string& setup, const std::string& clip = {});

struct FactEdit {
  std::string field;  // of fact_fields(), or clip_fields()
  std::string value;  // empty: the file is to say nothing of it
  std::string was;    // what the file says, as far as the one who asks knows
};

struct FactsSaved {
  // In words, beside the field; of the whole file where the field is empty. Then nothing was
  // written.
  struct Fault {
    std::string field;
    std::string words;
  };
  std::vector<Fault> faults;
  // Fields that do not say any more what the one who asks believes, and what they say: somebody
  // else was first. Then nothing was written.
  std::vector<std::pair<std::string, std::string>> changed;
  bool no_such_setup = false;  // nor such a clip
};

// All edits or none. Throws BadInput, one line, where the file cannot be changed in place or
// written.
FactsSaved save_facts(const std::filesystem::path& folder, const ArcherFiles& archer,
                      const std::string& setup, const std::vector<FactEdit>& edits,
                      const std::string& clip = {});

}  // namespace nocktrail::session
