#include <doctest/doctest.h>

#include <optional>
#include <string>
#include <vector>

#include "nocktrail/error.hpp"
#include "nocktrail/units/toml_edit.hpp"
#include "nocktrail/units/toml_table.hpp"

using namespace nocktrail;
using units::with_text;

namespace {

const std::vector<std::string> kDrop = {"clip", "a b.mp4", "drop"};

}  // namespace

TEST_CASE("unit: a value is replaced where it stands, and nothing else of the file") {
  const std::string before =
      "# mine\nhand = 'right' # drawn\n\n[clip.\"a b.mp4\"]   # the é one\n  drop  =  \"plucked "
      "é\" "
      " # said Wren\ncant = 5\n\n[arrow]\nwhatever = [1,\n 2] # kept\n";
  CHECK(with_text(before, "f", kDrop, "a \"new\" \\ one") ==
        "# mine\nhand = 'right' # drawn\n\n[clip.\"a b.mp4\"]   # the é one\n  drop  =  \"a "
        "\\\"new\\\" \\\\ one\"  # said Wren\ncant = 5\n\n[arrow]\nwhatever = [1,\n 2] # kept\n");
  // Taken back: the comment stays.
  CHECK(with_text(before, "f", kDrop, std::nullopt) ==
        "# mine\nhand = 'right' # drawn\n\n[clip.\"a b.mp4\"]   # the é one\n  # said Wren\ncant = "
        "5\n\n[arrow]\nwhatever = [1,\n 2] # kept\n");
}

TEST_CASE("unit: what is added can be taken back, to the byte but for the table's own name") {
  for (const std::string before : {"", "hand = \"left\"\n", "hand = \"left\"", "# only words\r\n",
                                   "\xEF\xBB\xBF# marked\nhand = \"left\"\n"}) {
    INFO(before);
    const std::string with = with_text(before, "f", kDrop, "plucked");
    CHECK(with.starts_with(before));
    units::TomlTable root = units::TomlTable::parse(with, "f");
    CHECK(root.inner("clip")->inner("a b.mp4")->words("drop") == "plucked");
    const std::string without = with_text(with, "f", kDrop, std::nullopt);
    CHECK(without.starts_with(before));
    CHECK(without.find("plucked") == std::string::npos);
    CHECK(without.find("[clip.\"a b.mp4\"]") != std::string::npos);
  }
  CHECK(with_text("[clip.\"a b.mp4\"]\nhand = 'left'\n", "f", kDrop, "x") ==
        "[clip.\"a b.mp4\"]\ndrop = \"x\"\nhand = 'left'\n");
  CHECK(with_text("[clip.\"a b.mp4\"]", "f", kDrop, "x") == "[clip.\"a b.mp4\"]\ndrop = \"x\"\n");
  CHECK(with_text("[clip.\"a b.mp4\"]\r\ndrop = 'y'\r\ncant = 3\r\n", "f", kDrop, std::nullopt) ==
        "[clip.\"a b.mp4\"]\r\ncant = 3\r\n");
  CHECK(with_text("[bow]\n", "f", {"notes"}, "wind") == "notes = \"wind\"\n[bow]\n");
  CHECK(with_text("a = 1\n", "f", kDrop, std::nullopt) == "a = 1\n");
}

TEST_CASE("unit: text from a stranger cannot end its string or begin a table") {
  for (const std::string words :
       {"\"\n[arrow]\nspine = \"1in", "a\\", "\u202Ex", "'''", "\x01\x7F"}) {
    INFO(words);
    const std::string text = with_text("hand = 'left'\n", "f", {"clip", words, "drop"}, words);
    units::TomlTable root = units::TomlTable::parse(text, "f");
    CHECK(root.keys() == std::vector<std::string>{"clip", "hand"});
    CHECK(root.inner("clip")->inner(words)->words("drop") == words);
  }
}

TEST_CASE("fault: what cannot be changed in place is left alone and said in a line") {
  for (const std::string text :
       {"clip = { \"a b.mp4\" = { hand = 'left' } }\n", "clip.\"a b.mp4\".hand = 'left'\n",
        "clip = 3\n", "[[clip]]\nx = 1\n", "clip = { \"a b.mp4\" = { drop = 'y', cant = 3 } }\n"}) {
    INFO(text);
    const bool drops = text.find("drop") != std::string::npos;
    std::string said;
    try {
      with_text(text, "f.toml", kDrop, drops ? std::nullopt : std::optional<std::string>("x"));
    } catch (const BadInput& problem) {
      said = problem.what();
    }
    CHECK(said.starts_with("f.toml: "));
    CHECK(said.find("by hand") != std::string::npos);
  }
  CHECK_THROWS_AS(with_text("hand = \n", "f", kDrop, "x"), BadInput);
}
