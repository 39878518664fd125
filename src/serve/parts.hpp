// Uploads that were cut off, for their page to go on with: what came of them stays for a while, in
// hidden files that go with the program. Of the network's thread alone.
#pragma once

#include <chrono>
#include <cstdint>
#include <list>
#include <map>
#include <memory>
#include <string>

#include "incoming.hpp"

namespace nocktrail::serve {

class Parts {
 public:
  struct Limits {
    std::size_t most = 16;             // the one that lies longest makes room
    std::chrono::minutes longest{60};  // then nobody comes any more
    std::size_t most_kept = 256;       // outcomes, of which the answer may have been lost
  };
  Parts() = default;
  explicit Parts(const Limits& limits) : limits_(limits) {}

  // 16 to 64 hexadecimal digits, made by the page.
  static bool is_name(const std::string& upload);

  void put(const std::string& upload, std::unique_ptr<Incoming> part);
  // Null where there is none.
  std::unique_ptr<Incoming> take(const std::string& upload);
  const Incoming* look(const std::string& upload) const;

  // How an upload ended, as it was answered.
  void note_kept(const std::string& upload, const std::string& body);
  const std::string* kept(const std::string& upload) const;

  bool empty() const { return parts_.empty(); }
  void clear() { parts_.clear(); }
  void drop_stale(std::chrono::steady_clock::time_point now);

 private:
  struct Part {
    std::string upload;
    std::unique_ptr<Incoming> incoming;
    std::chrono::steady_clock::time_point since;
  };
  Limits limits_;
  std::list<Part> parts_;  // the one that lies longest in front
  std::list<std::pair<std::string, std::string>> kept_;
};

}  // namespace nocktrail::serve
