<?xml version="1.0" encoding="UTF-8"?>
<!-- Words of the trade that engines get wrong. IPA as espeak-ng writes American English. -->
<lexicon version="1.0" xmlns="http://www.w3.org/2005/01/pronunciation-lexicon" alphabet="ipa" xml:lang="en">
  <lexeme><grapheme>EMOM</grapheme><alias>every minute on the minute</alias></lexeme>
  <lexeme><grapheme>AMRAP</grapheme><alias>as many rounds as possible</alias></lexeme>
  <lexeme><grapheme>HIIT</grapheme><alias>hit</alias></lexeme>
  <lexeme><grapheme>RDL</grapheme><grapheme>RDLs</grapheme><alias>Romanian deadlift</alias></lexeme>
  <lexeme><grapheme>DB</grapheme><alias>dumbbell</alias></lexeme>
  <lexeme><grapheme>DBs</grapheme><alias>dumbbells</alias></lexeme>
  <lexeme><grapheme>KB</grapheme><alias>kettlebell</alias></lexeme>
  <lexeme><grapheme>KBs</grapheme><alias>kettlebells</alias></lexeme>
  <lexeme><grapheme>BW</grapheme><alias>body weight</alias></lexeme>
  <lexeme><grapheme>ROM</grapheme><alias>range of motion</alias></lexeme>
  <lexeme><grapheme>Pilates</grapheme><grapheme>pilates</grapheme><alias>pi-lah-tees</alias><phoneme>pᵻlˈɑːɾiːz</phoneme></lexeme>
  <lexeme><grapheme>psoas</grapheme><alias>so-as</alias><phoneme>sˈoʊæs</phoneme></lexeme>
  <lexeme><grapheme>patella</grapheme><alias>puh-tella</alias><phoneme>pətˈɛlə</phoneme></lexeme>
  <lexeme><grapheme>namaste</grapheme><alias>nah-muh-stay</alias><phoneme>nˈɑːməstˌeɪ</phoneme></lexeme>
  <lexeme><grapheme>savasana</grapheme><alias>shuh-vah-suh-nuh</alias><phoneme>ʃəvˈɑːsənə</phoneme></lexeme>
  <lexeme><grapheme>plie</grapheme><grapheme>plies</grapheme><alias>plié</alias></lexeme>
</lexicon>
