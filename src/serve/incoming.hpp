// A clip on its way in: written beside its final name as it comes, and there under that name only
// once it is whole and on the disk.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

#include "nocktrail/session/session.hpp"
#include "refused.hpp"

namespace nocktrail::serve {

struct IncomingLimits {
  // Four times the longest clip of slow motion that a phone keeps in one file.
  std::uint64_t most_bytes = std::uint64_t{16} << 30U;
  // Left free for the results of what is sent.
  std::uint64_t keep_free_bytes = std::uint64_t{64} << 20U;
  std::size_t most_clips = 5000;  // in one session
};

struct Kept {
  std::string setup;
  std::string clip;    // its name there
  bool known = false;  // the same content was there before, under this name
};

// {"clip": its name as kept, "setup": where}
std::string kept_body(const Kept& kept);

class Incoming {
 public:
  // Reserves the room. `setup`: one that is there, or a new one, whose folder is made; "." or
  // empty: the session's folder where it has no set-ups, empty the last one where it has. Throws
  // Refused: 400 for a name without a video's ending or of which nothing is left, for a set-up that
  // cannot be; 413; 507; 500 where the folder cannot be written.
  Incoming(const std::filesystem::path& folder, std::string_view name, const std::string& setup,
           std::uint64_t size, const IncomingLimits& limits);
  Incoming(const Incoming&) = delete;
  Incoming& operator=(const Incoming&) = delete;
  // What was not kept leaves nothing.
  ~Incoming();

  // In order. Throws Refused: 507, 500.
  void take(std::string_view bytes);

  // What came, and the end of it.
  std::uint64_t taken() const { return taken_; }
  std::string tail_hex() const;

  // It was cut off: gives back the room that was reserved for the rest.
  void rest();
  // It goes on at `from`, of which so much is here, and is to be `size` in all. Throws Refused: 400
  // where that is another size than before; 507; 500.
  void go_on(std::uint64_t from, std::uint64_t size, const IncomingLimits& limits);

  // After the last byte; one at a time over all objects, so that the same content sent twice at
  // once is kept once. Throws Refused.
  Kept keep();

 private:
  void reserve(const IncomingLimits& limits);
  std::string known_as(Kept& kept) const;
  void follow_gathered();
  std::string put_in_place();
  void drop();

  std::filesystem::path session_;
  std::string setup_;
  std::string name_;
  std::string part_;  // of the file while it comes
  std::uint64_t size_;
  std::uint64_t taken_ = 0;
  std::string tail_;   // the last bytes, for whoever goes on to compare
  bool made_ = false;  // the set-up's folder
  int folder_ = -1;
  int file_ = -1;
};

// Clears away what a run that was killed had begun to receive.
void clear_unfinished(const std::filesystem::path& folder);

}  // namespace nocktrail::serve
