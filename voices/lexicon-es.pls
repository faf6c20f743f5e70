<?xml version="1.0" encoding="UTF-8"?>
<!-- Short forms and English words of the trade, as they are said in this language. -->
<lexicon version="1.0" xmlns="http://www.w3.org/2005/01/pronunciation-lexicon" alphabet="ipa" xml:lang="es">
  <lexeme><grapheme>EMOM</grapheme><alias>una serie cada minuto</alias></lexeme>
  <lexeme><grapheme>AMRAP</grapheme><alias>todas las rondas que puedas</alias></lexeme>
  <lexeme><grapheme>HIIT</grapheme><alias>jit</alias></lexeme>
  <lexeme><grapheme>RM</grapheme><alias>repetición máxima</alias></lexeme>
  <lexeme><grapheme>squat</grapheme><alias>escuat</alias></lexeme>
  <lexeme><grapheme>squats</grapheme><alias>escuats</alias></lexeme>
  <lexeme><grapheme>burpee</grapheme><alias>burpi</alias></lexeme>
  <lexeme><grapheme>burpees</grapheme><alias>burpis</alias></lexeme>
  <lexeme><grapheme>step</grapheme><alias>estep</alias></lexeme>
  <lexeme><grapheme>core</grapheme><alias>cor</alias></lexeme>
  <lexeme><grapheme>kettlebell</grapheme><alias>quétel bel</alias></lexeme>
  <lexeme><grapheme>kettlebells</grapheme><alias>quétel bels</alias></lexeme>
  <lexeme><grapheme>crunch</grapheme><alias>cranch</alias></lexeme>
  <lexeme><grapheme>stretching</grapheme><alias>estréchin</alias></lexeme>
  <lexeme><grapheme>jumping jack</grapheme><alias>yámpin yak</alias></lexeme>
  <lexeme><grapheme>jumping jacks</grapheme><alias>yámpin yaks</alias></lexeme>
</lexicon>
