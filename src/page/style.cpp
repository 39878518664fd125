#include "style.hpp"

namespace nocktrail::page {

const char* style_sheet() {
  return R"(
:root { color-scheme: light; --ink: #1f2933; --soft: #52606d; --rule: #c3c8bf; --paper: #fbfaf5;
  --card: #ffffff; --head: #efeee6; --blue: #1d5f99; --rust: #a8400a; }
@media screen and (prefers-color-scheme: dark) {
  :root { color-scheme: dark; --ink: #eceae2; --soft: #b4bcc4; --rule: #4a545e; --paper: #14181c;
    --card: #1d2329; --head: #262d34; --blue: #8fc1ec; --rust: #f0a273; }
}
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; text-size-adjust: 100%; }
body { margin: 0 auto; padding: 1rem 1.25rem 3rem; max-width: 66rem; background: var(--paper);
  color: var(--ink); font: 1rem/1.5 "DejaVu Sans", Verdana, system-ui, sans-serif;
  overflow-wrap: break-word; }
h1, h2, h3 { font-family: "DejaVu Serif", Georgia, serif; line-height: 1.25; }
h1 { font-size: 1.75rem; margin: .25rem 0; }
h2 { font-size: 1.3rem; margin: 2.75rem 0 .75rem; padding-top: .5rem;
  border-top: 3px double var(--rule); }
h3 { font-size: 1.05rem; margin: 2rem 0 .5rem; }
p { margin: .5rem 0; max-width: 46rem; }
.soft { color: var(--soft); font-size: .9rem; }
nav ul { list-style: none; margin: .75rem 0; padding: .5rem 0; border: solid var(--rule);
  border-width: 1px 0; display: flex; flex-wrap: wrap; gap: 0 .5rem; font-size: .9rem; }
nav a { display: block; padding: .7rem .4rem; min-width: 2.75rem; }
a { color: var(--blue); }
.verdict { border: 1px solid var(--rule); border-left: 6px solid var(--blue); background: var(--card);
  padding: .75rem 1rem; margin: 1rem 0; }
.step { border-left-color: var(--rust); }
.verdict h2 { border: 0; padding: 0; margin: 0 0 .25rem; font-size: 1.15rem; }
.figures { font-size: 1.25rem; font-weight: bold; margin: .25rem 0; }
.figures span { display: inline-block; margin-right: 1.25rem; }
.words { font-size: 1.15rem; font-weight: bold; }
.tag { display: inline-block; border: 1px solid var(--ink); border-radius: 3px; padding: 0 .5rem;
  margin: .2rem .5rem .2rem 0; background: var(--card); font-size: .95rem; }
.caution { border-left: 4px solid var(--rust); padding-left: .6rem; }
ul.cautions { list-style: none; padding: 0; margin: .5rem 0; }
ul.cautions li { border-left: 4px solid var(--rust); padding: .1rem 0 .1rem .6rem; margin: .4rem 0;
  max-width: 46rem; }
.scroll { overflow-x: auto; margin: .75rem 0 1.25rem; }
.scroll:focus-visible { outline: 2px solid var(--blue); outline-offset: 2px; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; font-size: .92rem;
  background: var(--card); }
caption { text-align: left; font-weight: bold; padding: .25rem 0; background: var(--paper); }
caption span { position: sticky; left: 0; display: inline-block; max-width: calc(100vw - 2.5rem); }
th, td { text-align: left; vertical-align: top; padding: .3rem .6rem; border: 1px solid var(--rule); }
thead th { background: var(--head); border-bottom: 2px solid var(--soft); }
tbody th { font-weight: 600; }
td.fill { min-width: 4rem; }
.figure-cell { white-space: nowrap; }
td.name { overflow-wrap: anywhere; min-width: 7.5rem; }
th.name { min-width: 8.5rem; }
td.long { min-width: 12rem; }
dl.facts { display: grid; grid-template-columns: fit-content(12rem) 1fr; gap: .1rem 1rem; margin: .5rem 0;
  font-size: .92rem; }
dl.facts dt { color: var(--soft); }
dl.facts dd { margin: 0; }
.charts { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 21rem), 1fr));
  gap: 1rem; align-items: start; }
figure { margin: .5rem 0; }
.setup { margin: 2rem 0; }
.setup h3, .charts p { margin-top: 0; }
.setup .scroll { margin-top: .25rem; }
.setup th, .setup td { padding: .3rem .5rem; }
figure svg { display: block; width: 100%; max-width: 30rem; height: auto; background: #fff;
  border: 1px solid var(--rule); }
svg text { font-family: "DejaVu Sans", Verdana, system-ui, sans-serif; }
figcaption { font-size: .85rem; color: var(--soft); margin-top: .35rem; max-width: 30rem; }
figcaption b { color: var(--ink); }
.stills { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(100%, 17rem), 1fr));
  gap: 1rem; }
.stills img { display: block; width: 100%; height: auto; border: 1px solid var(--rule); }
.sheet { background: var(--card); border: 1px solid var(--rule); padding: 1rem 1.25rem; margin-top: 3rem; }
.sheet h2 { border: 0; margin: 0 0 .25rem; padding: 0; }
.sheet caption { background: var(--card); }
.sheet .halves { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 20rem), 1fr));
  gap: 0 1.25rem; align-items: start; }
.sheet table { width: 100%; }
.sheet .set td { height: 2.2em; }
@media (max-width: 30rem) {
  body { padding: .75rem .9rem 2rem; }
  table { font-size: .8rem; }
  th, td, .setup th, .setup td { padding: .3rem .35rem; }
  td.name { min-width: 5.5rem; }
  dl.facts { grid-template-columns: fit-content(9.5rem) 1fr; font-size: .88rem; }
}
@page { size: A4; margin: 14mm 14mm 15mm; }
@media print {
  html { font-size: 8.5pt; }
  body { max-width: none; padding: 0; background: #fff; }
  nav, .screen { display: none; }
  caption { background: #fff; }
  a { color: inherit; text-decoration: none; }
  h2, h3, .lead, caption, thead { break-after: avoid; }
  h2 { margin-top: 1.75rem; }
  h3 { margin-top: 1.25rem; }
  figure, tr, .verdict, dl.facts, .setup { break-inside: avoid; }
  .setup { margin: 1.25rem 0; }
  .alone { max-width: 11cm; }
  #flight { break-before: page; }
  .lead { break-inside: avoid; }
  th, td { padding: .2rem .5rem; }
  .scroll { overflow: visible; }
  .charts { grid-template-columns: repeat(2, minmax(0, 1fr)); }
  .stills { grid-template-columns: repeat(3, 1fr); }
  figure svg, figcaption { max-width: none; }
  caption span { position: static; max-width: none; }
  * { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
  .sheet { border: 0; padding: 0; margin: 0; }
  .sheet .halves { grid-template-columns: 1fr 1fr; }
  .sheet.own-page { break-before: page; break-inside: avoid; }
  .sheet th, .sheet td { padding: .12rem .4rem; }
  .sheet .set th, .sheet .set td { vertical-align: middle; }
  .sheet .set td { height: var(--row, 7mm); padding: 0 .3rem; }
  .sheet p, .sheet ul.cautions li { max-width: none; }
  .sheet .set th, .sheet .set td { line-height: 1; }
  .sheet.dense { font-size: 7pt; line-height: 1.25; }
  .sheet.dense table, .sheet.dense .soft { font-size: 7pt; }
  .sheet.dense p, .sheet.dense ul.cautions li { margin: .15rem 0; }
  .sheet.dense .scroll { margin: .2rem 0 .3rem; }
}
)";
}

}  // namespace nocktrail::page
