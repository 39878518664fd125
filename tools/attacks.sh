# The attacks of tools/attack.sh, one function each: source it, do not run it. Each counts into
# `tried`, `lost` and `wrong` and works in $work/arena.

# How many tries of an attack that draws at random; the seed is the number of the try.
mutations=150
kills=15

complain() { printf '    %s\n' "$*"; }

# What must not change of the paths given: names and kinds, where links lead, bytes. Results of the
# program are its own.
state_of() {
  find "$@" \( -name nocktrail-results -prune \) -o \( -type f -exec sha256sum {} + \) \
    -o -printf '%y %p %l\n' 2>/dev/null | LC_ALL=C sort
}

# unharmed BEFORE WHAT PATH...: counts as lost what differs from BEFORE, and says what.
unharmed() {
  local before=$1 what=$2 now
  shift 2
  now=$(state_of "$@")
  [[ $now == "$before" ]] && return
  lost=$((lost + 1))
  complain "$what: $(diff <(echo "$before") <(echo "$now") | grep '^[<>]' | head -n 3 | cut -c 1-150 | tr '\n' ' ')"
}

# Runs the program with the arguments; counts a try; leaves what it said in $work/out and $work/err
# and its exit status in $status.
attempt() {
  status=0
  tried=$((tried + 1))
  # A shell of its own, whose word on a signal is not wanted here.
  (
    timeout -k 5 "${limit_s:-120}" "$program" "$@" >"$work/out" 2>"$work/err" </dev/null
    exit $?
  ) 2>/dev/null || status=$?
}

# killed_after SECONDS ARGUMENT...: the program, killed if it still runs by then.
killed_after() {
  local seconds=$1
  shift
  tried=$((tried + 1))
  (
    timeout -s KILL "$seconds" "$program" "$@" >/dev/null
    exit $?
  ) 2>/dev/null || true
}

# sane WHAT: the attempt came to an end of its own, and said no more than a person reads.
sane() {
  if ((status == 124 || status == 137)); then
    wrong=$((wrong + 1))
    complain "$1: did not end within ${limit_s:-120} s"
  elif ((status > 128 && status != 130)); then
    wrong=$((wrong + 1))
    complain "$1: ended by signal $((status - 128))"
  elif (($(stat -c %s "$work/err") > 8000)); then
    wrong=$((wrong + 1))
    complain "$1: $(stat -c %s "$work/err") bytes of messages"
  fi
}

# must_refuse WHAT [EXIT]: exit 2 or the one told, and nothing else will do.
must_refuse() {
  sane "$1"
  ((status == 2 || status == ${2:-2})) && return
  wrong=$((wrong + 1))
  complain "$1: not refused (exit $status): $(head -n 1 "$work/err" | cut -c 1-120)"
}

# mutate SEED IN OUT: bits turned, bytes cut off, blocks emptied or doubled, sizes set to extremes.
mutate() {
  perl -e '
    my ($seed, $in, $out) = @ARGV;
    srand($seed);
    local $/;
    open(my $f, "<:raw", $in) or die; my $b = <$f>; my $n = length $b;
    my $kind = $seed % 5;
    if ($kind == 0) { for (0 .. rand 20) { my $i = int rand $n; substr($b, $i, 1) ^= chr(1 << int rand 8) } }
    elsif ($kind == 1) { $b = substr($b, 0, int rand $n) }
    elsif ($kind == 2) { my $i = int rand $n; my $l = int rand 200; substr($b, $i, $l) = "\0" x $l }
    elsif ($kind == 3) { my $i = int rand $n; my $l = int rand 2000; substr($b, $i, 0) = substr($b, int rand $n, $l) }
    else { for (0 .. rand 4) { my $i = int rand($n - 4); substr($b, $i, 4) = pack("N", (0, 1, 0x7fffffff, 0x80000000, 0xffffffff)[int rand 5]) } }
    open(my $o, ">:raw", $out) or die; print $o $b;' "$@"
}

# The session that the attacks work on: two set-ups, one clip with a shot, one without, read once.
# Its copies carry the readings along, so that an attack takes no time for measuring.
make_session() {
  local session=$work/seed/session
  mkdir -p "$session/1-start" "$session/2-lower" "$work/seed/outside"
  cp test-clips/upside-down.mp4 "$session/1-start/shot.mp4"
  cp tests/fuzz/corpus/clip/h264.mp4 "$session/2-lower/none.mp4"
  printf 'name = "attacked"\nhand = "right"\n[bow]\nname = "Heron"\n' >"$session/session.toml"
  printf 'notes = "one turn down"\n' >"$session/2-lower/setup.toml"
  echo "somebody else's letter" >"$work/seed/outside/letter.txt"
  local tried=0 status
  attempt session "$session" --logbook "$work/seed/book.sqlite"
  ((status == 0)) || die "the session to attack cannot be read: $(head -n 1 "$work/err")"
}

# A fresh copy of it in the arena, as $s, with $book and $outside beside.
fresh_session() {
  rm -rf "$work/arena"
  cp -a "$work/seed" "$work/arena"
  s=$work/arena/session book=$work/arena/book.sqlite outside=$work/arena/outside
}

# A change of the facts, so that the next run has something to judge and write.
touch_facts() { printf 'notes = "try %s"\n' "$1" >"$s/2-lower/setup.toml"; }

# whole WHAT: the results are of one piece and know the shot, the logbook is sound and knows it too.
whole() {
  local results=$s/nocktrail-results shots gone file
  shots=$(jq '[.setups[].clips[] | select(.status == "measured")] | length' "$results/session.json" 2>/dev/null)
  if [[ $shots != 1 ]]; then
    lost=$((lost + 1))
    complain "$1: session.json has ${shots:-no} measured clips, not 1"
  fi
  if ! tail -c 20 "$results/report.html" | grep -q '</html>'; then
    lost=$((lost + 1))
    complain "$1: report.html is not whole"
  fi
  for file in "$results"/readings/*.json; do
    [[ -e $file ]] || continue
    jq -e .schema "$file" >/dev/null 2>&1 || { lost=$((lost + 1)); complain "$1: $file is not whole"; }
  done
  if [[ $(sqlite3 "$book" 'PRAGMA integrity_check' 2>&1) != ok ]]; then
    lost=$((lost + 1))
    complain "$1: the logbook is damaged"
    return
  fi
  gone=$("$program" logbook shots --logbook "$book" --json - 2>/dev/null |
    jq '[.. | objects | select(.present? == false)] | length')
  if [[ $gone != 0 ]]; then
    lost=$((lost + 1))
    complain "$1: the logbook has ${gone:-unknown} clips as gone that are there"
  fi
}

no_litter() {
  local found
  found=$(find "$work/arena" \( -name '*.part' -o -name '*.tmp' -o -name '.*.tmp*' \) 2>/dev/null | head -n 3)
  [[ -z $found ]] && return
  wrong=$((wrong + 1))
  complain "$1: left behind: $found"
}

attack_containers() {
  local seeds=(tests/fuzz/corpus/clip/* test-clips/phone/sample_android_slow_motion.mp4)
  local clip=$work/arena/clip.mp4 i before limit_s=60
  for ((i = 0; i < mutations; ++i)); do
    mutate "$i" "${seeds[i % ${#seeds[@]}]}" "$clip"
    before=$(state_of "$work/arena")
    attempt read --quiet --json - "$clip"
    sane "clip $i"
    unharmed "$before" "clip $i" "$work/arena"
  done
}

attack_facts() {
  local toml i before kind limit_s=30
  for ((i = 0; i < mutations; ++i)); do
    fresh_session
    mutate "$i" tests/fuzz/corpus/facts/plain.toml "$s/session.toml"
    before=$(state_of "$s" "$outside")
    attempt session "$s" --logbook "$book" --no-stills --quiet
    sane "facts $i"
    unharmed "$before" "facts $i" "$s" "$outside"
  done
  for kind in fifo zero folder socket_link gigabyte dots keys long_key arrays nul bytes loop; do
    fresh_session
    toml=$s/session.toml
    rm -f "$toml"
    case $kind in
      fifo) mkfifo "$toml" ;;
      zero) ln -s /dev/zero "$toml" ;;
      folder) mkdir "$toml" ;;
      socket_link) ln -s /dev/tty "$toml" ;;
      gigabyte) truncate -s 1G "$toml" ;;
      dots) perl -e 'print "a" . ".a" x 50000 . " = 1\n"' >"$toml" ;;
      keys) perl -e 'print "k$_ = 1\n" for 1 .. 100000' >"$toml" ;;
      long_key) perl -e 'print "k" x 1000000 . " = 1\n"' >"$toml" ;;
      arrays) perl -e 'print "a = " . "[" x 100000 . "\n"' >"$toml" ;;
      nul) printf 'hand = "ri\0ght"\n' >"$toml" ;;
      bytes) head -c 20000 /dev/urandom >"$toml" ;;
      loop) ln -s session.toml "$toml" ;;
    esac
    before=$(state_of "$s" "$outside")
    attempt session "$s" --logbook "$book" --no-stills --quiet
    sane "a facts file that is $kind"
    unharmed "$before" "a facts file that is $kind" "$s" "$outside"
  done
}

# A logbook's export, and the same with one value changed by a jq filter.
attack_imports() {
  local export=$work/arena/export.json csv=$work/arena/csv i before new=$work/arena/new.sqlite limit_s=60
  fresh_session
  "$program" logbook export --json "$export" --logbook "$book" >/dev/null
  "$program" logbook export --csv "$csv" --logbook "$book" >/dev/null
  before=$(state_of "$book" "$s" "$outside")
  for ((i = 0; i < mutations / 2; ++i)); do
    rm -f "$new"*
    mutate "$i" "$export" "$work/arena/bad.json"
    attempt logbook import "$work/arena/bad.json" --logbook "$new"
    sane "import $i"
    rm -rf "$new"* "$work/arena/bad-csv"
    cp -a "$csv" "$work/arena/bad-csv"
    mutate "$i" "$csv/setups.csv" "$work/arena/bad-csv/setups.csv"
    attempt logbook import "$work/arena/bad-csv" --logbook "$new"
    sane "import of CSV $i"
  done
  local nonsense=(
    '.tables.setups[0].tip_mass_kg = -1e308'
    '.tables.setups[0].hand = "\u0000"'
    '.tables.setups[0].cant_deg = 1e300'
    '.tables.setups[0].arrow_length_m = -3'
    '.tables.shots[0].number = -9223372036854775808'
  )
  local filter
  for filter in "${nonsense[@]}"; do
    rm -f "$new"*
    jq "$filter" "$export" >"$work/arena/bad.json"
    attempt logbook import "$work/arena/bad.json" --logbook "$new"
    must_refuse "import with $filter"
  done
  # Into a logbook that holds something.
  attempt logbook import "$export" --logbook "$book"
  must_refuse "import into a full logbook"
  unharmed "$before" "imports" "$book" "$s" "$outside"
}

# A logbook with so much in it that writing it takes a while.
big_book() {
  local export=$work/big.json
  if [[ ! -e $work/big.sqlite ]]; then
    "$program" logbook export --json "$export" --logbook "$work/seed/book.sqlite" >/dev/null
    "$program" logbook note "first" --date 2026-05-30 --logbook "$work/seed/book.sqlite" >/dev/null
    "$program" logbook export --json "$export" --logbook "$work/seed/book.sqlite" >/dev/null
    jq -c '.tables.notes[0] as $n | .tables.notes = [range(1; 60001) as $i | $n | .id = $i]' "$export" >"$export.2"
    "$program" logbook import "$export.2" --logbook "$work/big.sqlite" >/dev/null
  fi
  cp "$work/big.sqlite" "$work/arena/big.sqlite"
}

attack_kills_of_export() {
  local i before big=$work/arena/big.sqlite json=$work/arena/old.json csv=$work/arena/csv
  fresh_session
  big_book
  "$program" logbook export --json "$json" --logbook "$big" >/dev/null
  before=$(state_of "$json" "$big")
  for ((i = 0; i < kills; ++i)); do
    rm -rf "$csv"
    killed_after "0.$((i * 6 % 90 + 10))" logbook export --json "$json" --logbook "$big"
    killed_after "0.$((i * 6 % 90 + 10))" logbook export --csv "$csv" --logbook "$big"
    # The same content whether old or new: anything else is a part.
    unharmed "$before" "killed export $i" "$json" "$big"
    if [[ -e $csv && $(find "$csv" -name '*.csv' | wc -l) -lt 10 ]]; then
      lost=$((lost + 1))
      complain "killed export $i: a part of the CSV files stands for the whole"
    fi
  done
  rm -rf "$csv"
  attempt logbook export --csv "$csv" --logbook "$big"
  no_litter "the export after the kills"
}

attack_kills_of_session() {
  local i before
  fresh_session
  for ((i = 0; i < kills; ++i)); do
    touch_facts "$i"
    # Every third time the clip is measured anew and killed in that.
    ((i % 3 > 0)) || rm -f "$s"/nocktrail-results/readings/*
    before=$(state_of "$s" "$outside")
    killed_after "$((i % 3 == 0 ? i / 3 : 0)).$((i * 7 % 90 + 10))" session "$s" --logbook "$book"
    whole "killed session $i"
    attempt session "$s" --logbook "$book"
    whole "the session after kill $i"
    ((status == 0)) || { wrong=$((wrong + 1)); complain "the session after kill $i: exit $status"; }
    unharmed "$before" "killed session $i" "$s" "$outside"
  done
  no_litter "the session after the kills"
}

attack_full_disk() {
  local free before small=$work/small
  mkdir -p "$small"
  if [[ $NOCKTRAIL_ATTACK_INSIDE != mounts ]] || ! mount -t tmpfs -o size=4m nocktrail "$small" 2>/dev/null; then
    skipped="no small disk can be mounted here"
    return
  fi
  local measured=0
  for free in 0 4 8 16 24 32 48 64 96 128 192 256 512; do
    rm -rf "${small:?}"/*
    fresh_session
    # Every other time the clips have to be read anew, and their readings find no room.
    ((measured = 1 - measured)) || rm -f "$s"/nocktrail-results/readings/*
    cp -a "$s" "$book" "$small"
    s=$small/session book=$small/book.sqlite
    touch_facts "$free"
    before=$(state_of "$s" "$outside")
    head -c $(($(df --output=avail -B1 "$small" | tail -n 1) - free * 1024)) /dev/zero >"$small/fill" 2>/dev/null || true
    # What it says goes onto the same disk.
    ln -sf "$small/err" "$work/err"
    attempt session "$s" --logbook "$book"
    sane "$free KB free"
    rm "$work/err"
    rm "$small/fill"
    whole "$free KB free"
    unharmed "$before" "$free KB free" "$s" "$outside"
    attempt session "$s" --logbook "$book"
    ((status == 0)) || { wrong=$((wrong + 1)); complain "after $free KB free: exit $status with room again"; }
    whole "after $free KB free"
  done
  umount "$small"
}

attack_races() {
  local i before one two
  for ((i = 0; i < kills / 3; ++i)); do
    fresh_session
    touch_facts "$i"
    ((i > 0)) || rm -f "$s"/nocktrail-results/readings/*
    before=$(state_of "$s" "$outside")
    tried=$((tried + 2))
    timeout 120 "$program" session "$s" --logbook "$book" >/dev/null 2>&1 &
    one=$!
    timeout 120 "$program" session "$s" --logbook "$book" >/dev/null 2>&1 &
    two=$!
    for one in "$one" "$two"; do
      status=0
      wait "$one" || status=$?
      ((status == 0)) || { wrong=$((wrong + 1)); complain "race $i: exit $status"; }
    done
    whole "race $i"
    unharmed "$before" "race $i" "$s" "$outside"
  done
}

# Every option that names a file to write, at what must not be written over.
attack_outputs() {
  local before clip other setup limit_s=60
  fresh_session
  clip=$s/1-start/shot.mp4 other=$s/2-lower/none.mp4 setup=$work/arena/setup.toml
  cp docs/examples/tube_45lb.toml "$setup"
  before=$(state_of "$s" "$outside" "$book" "$setup")
  onto() {
    attempt "$@"
    # What is no logbook is found out when the session is to be recorded: docs/session.md has 1.
    must_refuse "$(sed "s|$work/arena/||g" <<<"$*")" "$([[ $* == 'session --logbook '* ]] && echo 1)"
    unharmed "$before" "$(sed "s|$work/arena/||g" <<<"$*")" "$s" "$outside" "$book" "$setup"
    # What was lost once is not to hide the next loss.
    if [[ $(state_of "$s" "$outside" "$book" "$setup") != "$before" ]]; then
      fresh_session
      cp docs/examples/tube_45lb.toml "$setup"
    fi
  }
  onto read --quiet --json "$clip" "$other"
  onto read --quiet --json "$other" "$other"
  onto read --quiet --still "$clip" "$other"
  onto read --quiet --json "$book" "$other"
  onto read --quiet --json "$s/session.toml" "$other"
  onto read --quiet --json "$outside/letter.txt" "$other"
  onto still --quiet --out "$clip" "$clip"
  onto still --quiet --out "$book" "$clip"
  onto still --quiet --out "$outside/letter.txt" "$clip"
  onto session --json "$s/session.toml" --no-logbook "$s"
  onto session --json "$clip" --no-logbook "$s"
  onto session --json "$book" --logbook "$book" "$s"
  onto session --logbook "$clip" "$s"
  onto session --logbook "$s/session.toml" "$s"
  onto session --logbook "$outside/letter.txt" "$s"
  onto session --results "$clip" --no-logbook "$s"
  onto logbook export --json "$book" --logbook "$book"
  onto logbook export --json "$clip" --logbook "$book"
  onto logbook export --csv "$outside" --logbook "$book"
  onto logbook export --csv "$clip" --logbook "$book"
  onto logbook shots --json "$book" --logbook "$book"
  onto logbook shots --json "$s/session.toml" --logbook "$book"
  onto effects "$setup" --json "$setup"
  onto effects "$setup" --plot "$setup"
  onto effects "$setup" --exit-state "$setup"
  onto effects "$setup" --json "$clip"
  onto effects "$setup" --plot "$book"
}

# A folder received from somebody else, whose results are links to other places.
attack_links() {
  local name before results
  for name in report.html session.json files.json build-sheet.html lock readings stills; do
    fresh_session
    results=$s/nocktrail-results
    rm -rf "${results:?}/$name"
    case $name in
      readings | stills) ln -s "$outside" "$results/$name" ;;
      *) ln -s "$outside/letter.txt" "$results/$name" ;;
    esac
    touch_facts "$name"
    before=$(state_of "$s" "$outside")
    attempt session "$s" --logbook "$book"
    sane "a link for $name"
    unharmed "$before" "a link for $name" "$s" "$outside"
  done
  fresh_session
  rm -rf "$s/nocktrail-results"
  ln -s "$outside" "$s/nocktrail-results"
  before=$(state_of "$outside")
  attempt session "$s" --logbook "$book"
  sane "a link for the results"
  unharmed "$before" "a link for the results" "$outside"
  fresh_session
  ln -s / "$s/3-all"
  ln -s . "$s/4-self"
  attempt session "$s" --logbook "$book" --quiet
  sane "a link to / among the set-ups"
}

# What a session asks the system for: no other program, no network, no file outside.
attack_strangers() {
  local log=$work/arena/trace before
  fresh_session
  if ! strace -f -o /dev/null true 2>/dev/null; then
    skipped="strace is not installed or not allowed here"
    return
  fi
  rm -f "$s"/nocktrail-results/readings/*
  before=$(state_of "$outside")
  tried=$((tried + 1))
  strace -f -e trace=execve,execveat,socket,connect,openat,open,creat,rename,renameat2,unlink,unlinkat \
    -o "$log" "$program" session "$s" --logbook "$book" >/dev/null 2>&1 || true
  if (($(grep -cE 'execve(at)?\(' "$log") != 1)); then
    wrong=$((wrong + 1))
    complain "another program was run: $(grep -E 'execve(at)?\(' "$log" | sed -n 2p | cut -c 1-120)"
  fi
  if grep -qE 'AF_INET|AF_NETLINK|AF_PACKET' "$log"; then
    wrong=$((wrong + 1))
    complain "a network: $(grep -m 1 -E 'AF_INET|AF_NETLINK|AF_PACKET' "$log" | cut -c 1-120)"
  fi
  local elsewhere
  elsewhere=$(grep -E 'O_WRONLY|O_RDWR|O_CREAT|rename|unlink|creat\(' "$log" | grep -v 'ENOENT' |
    grep -oE '"[^"]*"' | grep -vE "^\"($s/nocktrail-results|$book|/dev/null)" | grep '"/' | sort -u | head -n 3 || true)
  if [[ -n $elsewhere ]]; then
    lost=$((lost + 1))
    complain "files elsewhere: $elsewhere"
  fi
  unharmed "$before" "strangers" "$outside"
}
