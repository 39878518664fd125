#include "addresses.hpp"

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <memory>
#include <string_view>
#include <utility>

namespace nocktrail::serve {
namespace {

// As container and virtual machine software names its bridges; a phone is not there.
bool virtual_device(std::string_view name) {
  constexpr std::array<std::string_view, 6> kPrefixes = {"docker", "br-",   "veth",
                                                         "virbr",  "vmnet", "lxc"};
  return std::any_of(kPrefixes.begin(), kPrefixes.end(),
                     [name](std::string_view prefix) { return name.starts_with(prefix); });
}

}  // namespace

bool is_private(unsigned long address) {
  return (address >> 24U) == 10 || (address >> 20U) == 0xAC1 || (address >> 16U) == 0xC0A8 ||
         (address >> 16U) == 0xA9FE || (address >> 22U) == 0x191;
}

LocalAddresses local_addresses() {
  ifaddrs* first = nullptr;
  if (::getifaddrs(&first) != 0) {
    return {};
  }
  const std::unique_ptr<ifaddrs, decltype(&::freeifaddrs)> owner(first, ::freeifaddrs);
  std::vector<std::string> real;
  std::vector<std::string> bridges;
  std::vector<std::string> open;
  for (const ifaddrs* one = first; one != nullptr; one = one->ifa_next) {
    if (one->ifa_addr == nullptr || one->ifa_addr->sa_family != AF_INET ||
        (one->ifa_flags & IFF_UP) == 0 || (one->ifa_flags & IFF_LOOPBACK) != 0) {
      continue;
    }
    sockaddr_in address{};
    std::memcpy(&address, one->ifa_addr, sizeof(address));
    std::array<char, INET_ADDRSTRLEN> text{};
    if (::inet_ntop(AF_INET, &address.sin_addr, text.data(), text.size()) != nullptr) {
      auto& kind = !is_private(ntohl(address.sin_addr.s_addr)) ? open
                   : virtual_device(one->ifa_name)             ? bridges
                                                               : real;
      kind.emplace_back(text.data());
    }
  }
  real.insert(real.end(), bridges.begin(), bridges.end());
  return real.empty() ? LocalAddresses{std::move(open), false}
                      : LocalAddresses{std::move(real), true};
}

}  // namespace nocktrail::serve
