// Bytes as session.toml, as the setup.toml laid over it, as profile.toml and as phones.toml.
#include "fuzz.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/session/facts_file.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace nocktrail;
  const std::string_view text = fuzz::text_of(data, size);
  const session::Phones phones = {{"pocket", 26.0}};
  session::FactsTold told;
  try {
    told = session::parse_facts(text, "session.toml", session::FactsKind::session, {}, phones);
  } catch (const BadInput& fault) {
    fuzz::require_one_line(fault);
  }
  try {
    session::parse_facts(text, "setup.toml", session::FactsKind::setup, told.facts, phones);
  } catch (const BadInput& fault) {
    fuzz::require_one_line(fault);
  }
  try {
    const auto profile =
        session::parse_facts(text, "profile.toml", session::FactsKind::profile, {}, phones);
    fuzz::require(profile.clips.empty() && profile.facts.notes.empty(), "a profile with clips");
    static_cast<void>(session::beneath(profile.facts, told.facts));
  } catch (const BadInput& fault) {
    fuzz::require_one_line(fault);
  }
  try {
    for (const auto& [name, focal] :
         session::read_phones(fuzz::scratch_file("phones.toml", text))) {
      fuzz::require(focal >= 10.0 && focal <= 200.0, "a phone with an impossible lens");
    }
  } catch (const BadInput& fault) {
    fuzz::require_one_line(fault);
  }
  return 0;
}
