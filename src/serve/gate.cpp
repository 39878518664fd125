#include "gate.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "secret.hpp"

namespace nocktrail::serve {

Gate::Gate(std::string secret, std::vector<std::string> hosts, int port)
    : secret_(std::move(secret)),
      hosts_(std::move(hosts)),
      cookie_name_(fmt::format("nocktrail-{}", port)) {}

bool Gate::admits(const Presented& request) const {
  if (std::find(hosts_.begin(), hosts_.end(), request.host) == hosts_.end()) {
    return false;
  }
  if (!request.origin.empty() && request.origin != fmt::format("http://{}", request.host)) {
    return false;
  }
  if (!request.key.empty() || !request.get) {
    return same_secret(request.key, secret_);
  }
  // A wrong one in the address is no slip that an old cookie makes good: the page would keep it.
  return request.query_key.empty() ? in_cookie(request.cookie)
                                   : same_secret(request.query_key, secret_);
}

bool Gate::in_cookie(std::string_view header) const {
  bool found = false;
  while (!header.empty()) {
    const std::size_t end = header.find(';');
    std::string_view one = header.substr(0, end);
    one.remove_prefix(std::min(one.find_first_not_of(' '), one.size()));
    const std::size_t equals = one.find('=');
    if (equals != std::string_view::npos && one.substr(0, equals) == cookie_name_) {
      found = same_secret(one.substr(equals + 1), secret_) || found;
    }
    header = end == std::string_view::npos ? "" : header.substr(end + 1);
  }
  return found;
}

std::string Gate::cookie() const {
  return fmt::format("{}={}; HttpOnly; SameSite=Strict; Path=/", cookie_name_, secret_);
}

}  // namespace nocktrail::serve
