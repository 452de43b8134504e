package claim

// style is the style sheet of the page. PAPER is the size of paper for printing.
const style = `:root{color-scheme:light}
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0 auto;max-width:56rem;padding:1.2rem 1.4rem 3rem;font:400 16px/1.5 "Report","DejaVu Sans Condensed",sans-serif;color:#1c2733;background:#fff}
header{border-bottom:3px solid #193250;margin-bottom:1rem}
h1{font-size:1.9rem;line-height:1.2;margin:.2rem 0;color:#193250}
.sub{font-size:1.1rem;margin:.2rem 0 .4rem}
.date{margin:0 0 .8rem;color:#4c5a68}
.interim{float:right;margin:0;padding:.15rem .7rem;border:2px solid #9b1c24;color:#9b1c24;font-weight:700;letter-spacing:.08em}
h2{font-size:1.3rem;margin:2.2rem 0 .6rem;padding-bottom:.2rem;border-bottom:1px solid #193250;color:#193250}
h3{font-size:1.02rem;margin:1.3rem 0 .4rem;color:#193250}
p{margin:.4rem 0}
a{color:#164a7c}
nav{background:#f3f6f9;padding:.7rem 1rem;border-radius:4px}
nav ol{margin:0;padding-left:1.6rem;columns:2;column-gap:2rem}
nav li{break-inside:avoid}
ul,ol{margin:.4rem 0;padding-left:1.5rem}
li{margin:.25rem 0}
.panel{border-left:6px solid #33475b;background:#eef2f6;padding:.7rem 1rem;margin:.8rem 0;border-radius:0 4px 4px 0}
.panel.unexplained{border-color:#6b6b6b;background:#f4f4f4}
.panel.primary{border-color:#9b1c24;background:#fbe9e9}
table{width:100%;border-collapse:collapse;margin:.7rem 0;font-size:.9rem;line-height:1.4}
caption{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
thead th{background:#e8eef4;text-align:left;color:#193250}
th,td{padding:.35rem .5rem;border-bottom:1px solid #c8cdd2;vertical-align:top;overflow-wrap:anywhere}
tbody th{font-weight:400;text-align:left}
[dir=auto]{unicode-bidi:plaintext;text-align:start}
.num{text-align:right}
td.num[dir=auto]{text-align:right}
code{font:inherit;font-size:.85em;overflow-wrap:anywhere}
.primary{background:#fbe9e9}.consequential{background:#fdf3dc}.independent{background:#e6f4ec}.made_after{background:#f0ebf8}.against{background:#e6f1f9}.unexplained{background:#f1f1f1}.outcome{background:#e9eef3}
figure{margin:.8rem 0}
.drawing{width:100%;height:auto;display:block;font-family:"Report","DejaVu Sans Condensed",sans-serif}
.narrow{display:none}
.scroll{overflow-x:auto}
.photos{display:grid;grid-template-columns:1fr 1fr;gap:1rem}
.photos figure{margin:0;break-inside:avoid}
.photos img{width:100%;height:auto;max-height:24rem;object-fit:contain;object-position:left top}
figcaption{font-size:.85rem;color:#36424e;overflow-wrap:anywhere}
.missing{border:1px dashed #6b6b6b;padding:1.5rem 1rem;margin:0}
.labels{display:grid;grid-template-columns:1fr 1fr;gap:.6rem}
.label{border:1px dashed #5b6b7b;padding:.5rem .7rem;break-inside:avoid;font-size:.9rem}
@media (max-width:640px){
body{padding:.8rem .8rem 2rem}
nav ol{columns:1}
.wide{display:none}.narrow{display:block;max-width:26rem}
.broad{min-width:680px}
.photos,.labels{grid-template-columns:1fr}
table,tbody,tr,th,td{display:block;width:auto!important}
thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
tr{border:1px solid #c8cdd2;border-radius:4px;margin:.5rem 0;padding:.15rem 0}
td,tbody th{border:0;padding:.2rem .6rem}
tbody th{font-weight:700}
td:empty{display:none}
td[data-head]:not([data-head=""])::before{content:attr(data-head) ": ";color:#4c5a68}
.num,td.num[dir=auto]{text-align:left}
}
@page{size:PAPER;margin:16mm 16mm 18mm}
@media print{
body{max-width:none;padding:0;font-size:9.5pt}
nav{display:none}
h1{font-size:17pt}h2{font-size:12.5pt;margin-top:1.4rem}
h2,h3{break-after:avoid}
tr,.panel,.photos figure{break-inside:avoid}
thead{display:table-header-group}
.photos img{max-height:90mm}
a{color:inherit;text-decoration:none}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}
}
`
