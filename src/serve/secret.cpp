#include "secret.hpp"

#include <fmt/format.h>
#include <sys/random.h>

#include <array>
#include <cstddef>
#include <stdexcept>

namespace nocktrail::serve {

std::string fresh_secret() {
  std::array<unsigned char, 16> bytes{};
  // Up to 256 bytes come whole, once the generator has its seed (getrandom(2)).
  if (::getrandom(bytes.data(), bytes.size(), 0) != static_cast<ssize_t>(bytes.size())) {
    throw std::runtime_error("the system gives no random numbers");
  }
  std::string secret;
  for (const unsigned char byte : bytes) {
    secret += fmt::format("{:02x}", byte);
  }
  return secret;
}

bool same_secret(std::string_view told, std::string_view secret) {
  // The length is no secret.
  if (told.size() != secret.size()) {
    return false;
  }
  volatile unsigned char differing = 0;  // keeps the loop from being cut short
  for (std::size_t i = 0; i < told.size(); ++i) {
    differing = static_cast<unsigned char>(
        differing | (static_cast<unsigned char>(told[i]) ^ static_cast<unsigned char>(secret[i])));
  }
  return differing == 0;
}

}  // namespace nocktrail::serve
