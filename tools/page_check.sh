#!/usr/bin/env bash
# Opens a page of ours in Debian's Chromium, without a screen and without a network, and prints
# what a person would look for. Leaves wide.png (1280 px), narrow.png (390 px, a phone), page.pdf
# and page.txt (the text of the PDF) in OUT_DIR, to be looked at.
#   tools/page_check.sh PAGE.html OUT_DIR
# Exit status: 0 nothing wrong, 1 something is (said on standard error), 77 no Chromium here.
set -euo pipefail

page=$(realpath "$1")
mkdir -p "$2"
out=$(realpath "$2")

for tool in chromium pdfinfo pdftotext; do
  if ! command -v "$tool" >/dev/null; then
    echo "page_check: $tool is not installed (Debian: chromium, poppler-utils); nothing checked" >&2
    exit 77
  fi
done

profile=$(mktemp -d)
trap 'rm -rf "$profile"' EXIT
bad=0
complain() {
  printf 'page_check: %s\n' "$*" >&2
  bad=1
}

# Two seconds on an idle machine; a starved one gets its time. Every name fails to resolve; most of what the browser does on its own account is turned off.
browse() {
  timeout 400 chromium --headless=new --no-sandbox --disable-gpu --hide-scrollbars \
    --user-data-dir="$profile" --no-first-run --disable-background-networking \
    --disable-component-update --disable-sync --disable-default-apps --disable-extensions \
    --disable-domain-reliability --no-pings --host-resolver-rules='MAP * ~NOTFOUND' \
    --virtual-time-budget=5000 "$@" 2>"$profile/stderr"
}

# The page as the browser understood it; its console; the addresses it asked for.
browse --enable-logging=stderr --log-net-log="$profile/net.json" --dump-dom "file://$page" \
  >"$out/dom.html" || complain "the browser failed on the page"
grep -q '<h[12]' "$out/dom.html" || complain "the browser shows no heading"
if grep 'CONSOLE' "$profile/stderr" >"$profile/console"; then
  complain "console: $(head -n 3 "$profile/console")"
fi
# What the browser asks on its own account has no origin as its initiator; what a page asks has.
grep -E '"initiator":"' "$profile/net.json" | grep -v '"initiator":"not an origin"' |
  grep -oE '"url":"(https?|wss?|ftp):[^"]*"' | sort -u >"$profile/asked" || true
if [[ -s $profile/asked ]]; then
  complain "asks for $(head -n 3 "$profile/asked" | tr '\n' ' ')"
fi

# The same page in a frame as narrow as a phone, measured from outside it.
cat >"$profile/frame.html" <<FRAME
<!DOCTYPE html><title>frame</title><body style="margin:0">
<iframe id="f" style="border:0" width="390" height="2000" src="file://$page"></iframe>
<pre id="said"></pre>
<script>
document.getElementById('f').addEventListener('load', function () {
  var f = document.getElementById('f'), d = f.contentDocument;
  var broken = Array.from(d.images).filter(function (i) { return i.naturalWidth === 0; }).length;
  var wide = d.documentElement.scrollWidth;
  var high = d.documentElement.scrollHeight;
  f.height = high;
  document.getElementById('said').textContent =
      'width=' + wide + ' height=' + high + ' images=' + d.images.length + ' broken=' + broken;
});
</script>
FRAME
open=(--allow-file-access-from-files --disable-web-security)
browse "${open[@]}" --window-size=600,2000 --dump-dom "file://$profile/frame.html" \
  >"$profile/frame.dom" || complain "the browser failed on the page in a frame"
said=$(grep -oE 'width=[0-9]+ height=[0-9]+ images=[0-9]+ broken=[0-9]+' "$profile/frame.dom" || true)
if [[ -z $said ]]; then
  complain "the page could not be measured in a frame"
else
  eval "$said"
  ((width <= 390)) || complain "on a screen of 390 px the page is $width px wide"
  ((broken == 0)) || complain "$broken of $images pictures do not show"
fi

browse "${open[@]}" --window-size="600,$((${height:-2000} < 16000 ? ${height:-2000} : 16000))" \
  --screenshot="$out/narrow-600.png" "file://$profile/frame.html" || complain "no narrow picture"
mv "$out/narrow-600.png" "$out/narrow.png"
browse --window-size=1280,9000 --screenshot="$out/wide.png" "file://$page" ||
  complain "no wide picture"

browse --no-pdf-header-footer --print-to-pdf="$out/page.pdf" "file://$page" ||
  complain "the page does not print"
pdftotext -layout "$out/page.pdf" "$out/page.txt"
pages=$(pdfinfo "$out/page.pdf" | awk '/^Pages:/ {print $2}')
pdfinfo "$out/page.pdf" | grep -q 'Page size:.*(A4)' || complain "does not print on A4"

printf 'pages=%s %s\n' "$pages" "$said"
exit "$bad"
