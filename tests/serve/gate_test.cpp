// Who is let in, by the parts.
#include <doctest/doctest.h>

#include <set>
#include <string>

#include "addresses.hpp"
#include "gate.hpp"
#include "nocktrail/serve/serve.hpp"
#include "secret.hpp"

using namespace nocktrail::serve;

TEST_CASE("unit: a secret is 128 bits, another each time, and compared as a whole") {
  std::set<std::string> seen;
  for (int i = 0; i < 100; ++i) {
    const std::string secret = fresh_secret();
    CHECK(secret.size() == 32);
    CHECK(secret.find_first_not_of("0123456789abcdef") == std::string::npos);
    seen.insert(secret);
  }
  CHECK(seen.size() == 100);
  CHECK(same_secret("abcd", "abcd"));
  CHECK_FALSE(same_secret("abcd", "abce"));
  CHECK_FALSE(same_secret("bbcd", "abcd"));
  CHECK_FALSE(same_secret("abc", "abcd"));
  CHECK_FALSE(same_secret("", "abcd"));
}

TEST_CASE("unit: the gate wants a printed host, no strange origin, and the secret in its place") {
  const std::string secret(32, 'a');
  const Gate gate(secret, {"192.168.1.5:8000", "127.0.0.1:8000"}, 8000);
  const std::string cookie = "nocktrail-8000=" + secret;
  Presented get;
  get.get = true;
  get.host = "192.168.1.5:8000";
  CHECK_FALSE(gate.admits(get));
  get.cookie = cookie;
  CHECK(gate.admits(get));
  const std::string among = "other=1; nocktrail-8000=wrong; " + cookie + "; more=2";
  get.cookie = among;
  CHECK(gate.admits(get));
  const std::string of_another_port = "nocktrail-8001=" + secret;
  get.cookie = of_another_port;
  CHECK_FALSE(gate.admits(get));
  get.cookie = cookie;
  for (const char* host : {"", "192.168.1.5", "192.168.1.5:80", "evil.example:8000",
                           "192.168.1.5:8000.evil.example", "localhost:8000"}) {
    get.host = host;
    CHECK_FALSE(gate.admits(get));
  }
  get.host = "127.0.0.1:8000";
  CHECK(gate.admits(get));
  get.origin = "http://evil.example";
  CHECK_FALSE(gate.admits(get));
  get.origin = "null";
  CHECK_FALSE(gate.admits(get));
  get.origin = "http://127.0.0.1:8000";
  CHECK(gate.admits(get));
  get.query_key = "wrong";
  CHECK_FALSE(gate.admits(get));
  get.query_key = secret;
  get.cookie = "";
  CHECK(gate.admits(get));

  Presented post;
  post.host = "127.0.0.1:8000";
  post.cookie = cookie;
  post.query_key = secret;
  CHECK_FALSE(gate.admits(post));  // a cookie travels by itself
  post.key = secret;
  CHECK(gate.admits(post));
  post.key = "wrong";
  CHECK_FALSE(gate.admits(post));
  CHECK(gate.cookie() == "nocktrail-8000=" + secret + "; HttpOnly; SameSite=Strict; Path=/");
}

TEST_CASE("reference: which addresses are of a local network (RFC 1918, 3927, 6598)") {
  const auto address = [](unsigned a, unsigned b, unsigned c, unsigned d) {
    return static_cast<unsigned long>((a << 24U) | (b << 16U) | (c << 8U) | d);
  };
  for (const unsigned long one :
       {address(10, 0, 0, 1), address(10, 255, 255, 255), address(172, 16, 0, 1),
        address(172, 31, 255, 1), address(192, 168, 178, 20), address(169, 254, 3, 4),
        address(100, 64, 0, 1), address(100, 127, 255, 255)}) {
    CHECK(is_private(one));
  }
  for (const unsigned long one :
       {address(9, 255, 255, 255), address(11, 0, 0, 0), address(172, 15, 0, 1),
        address(172, 32, 0, 1), address(192, 167, 0, 1), address(192, 169, 0, 1),
        address(8, 8, 8, 8), address(100, 63, 0, 1), address(100, 128, 0, 1),
        address(169, 253, 0, 1)}) {
    CHECK_FALSE(is_private(one));
  }
}

TEST_CASE(
    "unit: the code is square, with a light margin, and the two kinds are each other's negative") {
  const std::string plain = qr_code("http://192.168.1.5:8000/?key=0123456789abcdef", false);
  const std::string coloured = qr_code("http://192.168.1.5:8000/?key=0123456789abcdef", true);
  CHECK(plain.starts_with("██"));
  CHECK(coloured.find("\033[30;107m  ") == 0);
  const std::size_t first = plain.find('\n');
  std::size_t characters = 0;
  for (const char c : plain.substr(0, first)) {
    characters += (static_cast<unsigned char>(c) & 0xC0U) != 0x80U ? 1 : 0;
  }
  std::size_t lines = 0;
  for (const char c : plain) {
    lines += c == '\n' ? 1 : 0;
  }
  // Sizes of the standard: 17 + 4 version squares to a side, here with twice two of margin.
  CHECK((characters - 4 - 17) % 4 == 0);
  CHECK(lines == (characters + 1) / 2);
}
