<?xml version="1.0" encoding="UTF-8"?>
<!-- Short forms and English words of the trade, as they are said in this language. -->
<lexicon version="1.0" xmlns="http://www.w3.org/2005/01/pronunciation-lexicon" alphabet="ipa" xml:lang="de">
  <lexeme><grapheme>EMOM</grapheme><alias>jede Minute eine Serie</alias></lexeme>
  <lexeme><grapheme>AMRAP</grapheme><alias>so viele Runden wie möglich</alias></lexeme>
  <lexeme><grapheme>HIIT</grapheme><alias>hitt</alias></lexeme>
  <lexeme><grapheme>RM</grapheme><alias>Maximalwiederholung</alias></lexeme>
  <lexeme><grapheme>Squat</grapheme><alias>Skwott</alias></lexeme>
  <lexeme><grapheme>Squats</grapheme><alias>Skwotts</alias></lexeme>
  <lexeme><grapheme>Burpee</grapheme><alias>Börpi</alias></lexeme>
  <lexeme><grapheme>Burpees</grapheme><alias>Börpis</alias></lexeme>
  <lexeme><grapheme>Plank</grapheme><alias>Plänk</alias></lexeme>
  <lexeme><grapheme>Core</grapheme><alias>Kohr</alias></lexeme>
  <lexeme><grapheme>Kettlebell</grapheme><alias>Kettelbell</alias></lexeme>
  <lexeme><grapheme>Kettlebells</grapheme><alias>Kettelbells</alias></lexeme>
  <lexeme><grapheme>Crunch</grapheme><alias>Krantsch</alias></lexeme>
  <lexeme><grapheme>Crunches</grapheme><alias>Krantsches</alias></lexeme>
  <lexeme><grapheme>Stretching</grapheme><alias>Stretsching</alias></lexeme>
</lexicon>
