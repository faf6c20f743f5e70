<?xml version="1.0" encoding="UTF-8"?>
<!-- Short forms and English words of the trade, as they are said in this language. -->
<lexicon version="1.0" xmlns="http://www.w3.org/2005/01/pronunciation-lexicon" alphabet="ipa" xml:lang="fr">
  <lexeme><grapheme>EMOM</grapheme><alias>une série par minute</alias></lexeme>
  <lexeme><grapheme>AMRAP</grapheme><alias>le plus de tours possible</alias></lexeme>
  <lexeme><grapheme>HIIT</grapheme><alias>hit</alias></lexeme>
  <lexeme><grapheme>RM</grapheme><alias>répétition maximale</alias></lexeme>
  <lexeme><grapheme>squat</grapheme><alias>skouate</alias></lexeme>
  <lexeme><grapheme>squats</grapheme><alias>skouates</alias></lexeme>
  <lexeme><grapheme>burpee</grapheme><grapheme>burpees</grapheme><alias>beurpi</alias></lexeme>
  <lexeme><grapheme>step</grapheme><alias>stèpe</alias></lexeme>
  <lexeme><grapheme>core</grapheme><alias>core</alias></lexeme>
  <lexeme><grapheme>kettlebell</grapheme><grapheme>kettlebells</grapheme><alias>kettelbelle</alias></lexeme>
  <lexeme><grapheme>crunch</grapheme><grapheme>crunchs</grapheme><alias>cronche</alias></lexeme>
  <lexeme><grapheme>stretching</grapheme><alias>stretchigne</alias></lexeme>
  <lexeme><grapheme>jumping jack</grapheme><alias>djeumpigne djak</alias></lexeme>
  <lexeme><grapheme>jumping jacks</grapheme><alias>djeumpigne djaks</alias></lexeme>
  <!-- eSpeak NG takes these for English. -->
  <lexeme><grapheme>dos</grapheme><phoneme>dˈo</phoneme><alias>dô</alias></lexeme>
  <lexeme><grapheme>assieds</grapheme><phoneme>asjˈe</phoneme><alias>assié</alias></lexeme>
  <!-- The styled model swallows the last consonant. -->
  <lexeme><grapheme>cigogne</grapheme><phoneme>siɡˈɔɲə</phoneme></lexeme>
</lexicon>
