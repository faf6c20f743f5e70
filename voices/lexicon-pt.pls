<?xml version="1.0" encoding="UTF-8"?>
<!-- Short forms and English words of the trade, as they are said in this language. -->
<lexicon version="1.0" xmlns="http://www.w3.org/2005/01/pronunciation-lexicon" alphabet="ipa" xml:lang="pt-BR">
  <lexeme><grapheme>EMOM</grapheme><alias>uma série a cada minuto</alias></lexeme>
  <lexeme><grapheme>AMRAP</grapheme><alias>o máximo de voltas possível</alias></lexeme>
  <lexeme><grapheme>HIIT</grapheme><alias>rit</alias></lexeme>
  <lexeme><grapheme>RM</grapheme><alias>repetição máxima</alias></lexeme>
  <lexeme><grapheme>squat</grapheme><alias>isquót</alias></lexeme>
  <lexeme><grapheme>burpee</grapheme><alias>bârpi</alias></lexeme>
  <lexeme><grapheme>burpees</grapheme><alias>bârpis</alias></lexeme>
  <lexeme><grapheme>step</grapheme><alias>istép</alias></lexeme>
  <lexeme><grapheme>core</grapheme><alias>cór</alias></lexeme>
  <lexeme><grapheme>kettlebell</grapheme><alias>quétou bél</alias></lexeme>
  <lexeme><grapheme>kettlebells</grapheme><alias>quétou béls</alias></lexeme>
  <lexeme><grapheme>crunch</grapheme><alias>crântch</alias></lexeme>
  <lexeme><grapheme>jumping jack</grapheme><alias>djâmping djék</alias></lexeme>
  <lexeme><grapheme>jumping jacks</grapheme><alias>djâmping djéks</alias></lexeme>
  <!-- eSpeak NG's two nasal vowels in a row are not understood of the styled model. -->
  <lexeme><grapheme>muito</grapheme><phoneme>mˈuintʊ</phoneme></lexeme>
  <lexeme><grapheme>muitos</grapheme><phoneme>mˈuintʊs</phoneme></lexeme>
  <lexeme><grapheme>muita</grapheme><phoneme>mˈuintɐ</phoneme></lexeme>
  <lexeme><grapheme>muitas</grapheme><phoneme>mˈuintɐs</phoneme></lexeme>
</lexicon>
