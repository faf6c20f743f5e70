<?xml version="1.0" encoding="UTF-8"?>
<!-- Short forms and English words of the trade, as they are said in this language. -->
<lexicon version="1.0" xmlns="http://www.w3.org/2005/01/pronunciation-lexicon" alphabet="ipa" xml:lang="it">
  <lexeme><grapheme>EMOM</grapheme><alias>una serie ogni minuto</alias></lexeme>
  <lexeme><grapheme>AMRAP</grapheme><alias>più giri possibili</alias></lexeme>
  <lexeme><grapheme>HIIT</grapheme><alias>it</alias></lexeme>
  <lexeme><grapheme>RM</grapheme><alias>ripetizione massimale</alias></lexeme>
  <lexeme><grapheme>squat</grapheme><alias>squòt</alias></lexeme>
  <lexeme><grapheme>burpee</grapheme><grapheme>burpees</grapheme><alias>bàrpi</alias></lexeme>
  <lexeme><grapheme>plank</grapheme><alias>plènk</alias></lexeme>
  <lexeme><grapheme>core</grapheme><alias>còr</alias></lexeme>
  <lexeme><grapheme>kettlebell</grapheme><grapheme>kettlebells</grapheme><alias>chèttel bel</alias></lexeme>
  <lexeme><grapheme>crunch</grapheme><alias>crànc</alias></lexeme>
  <lexeme><grapheme>stretching</grapheme><alias>strècing</alias></lexeme>
  <lexeme><grapheme>jumping jack</grapheme><alias>giàmping gèk</alias></lexeme>
  <lexeme><grapheme>jumping jacks</grapheme><alias>giàmping gèks</alias></lexeme>
</lexicon>
