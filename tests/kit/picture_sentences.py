"""Sentences of a coach, for the measure of what points at a picture.

The shipped weights are fitted to every sentence here but the unseen (pointing_fit.py), so only those say how
well sentences are told; the head of the table of weights has the figures.

- 600 unseen sentences, half of each kind, come from a writer who saw no rule and no other sentence
  (sentences/unseen_*.txt). Once a rule or a weight follows from one of them, they are development sentences,
  and new ones are needed.

- Three sets of about a hundred were written by hand, each after the rules of its time.
- 800 development sentences, half of each kind, come from other writers (sentences/development_*.txt).
- Some 400 that point and 700 that do not were written as instructors of interval, mobility, strength,
  low-impact, boxing, chair, pregnancy and dance classes say them, the latter mostly near misses such as "see
  how that feels" (sentences/coached_*.txt).
- The rest was written in quantity, after reading four fifths of the development sentences and what earlier
  fits got wrong in them (sentences/written_*.txt).
"""

from __future__ import annotations

from pathlib import Path

POINTING = """\
Watch the angle of my elbow as I come down.
Your arms should look like this at the top.
See how my back stays flat the whole way?
Take a look at my feet before you start.
I'm going to show you the hard version first.
Keep an eye on the clock in the corner of the screen.
Do it exactly the way I am doing it.
Just follow me for the first few.
If you look at my hips you'll notice they don't twist.
My knee is right over my ankle here.
Copy what I do with my hands.
From this angle you can see the curve in my spine.
We're going to hold the weight like this.
Lift your leg about this high.
Bring your feet this wide.
You want to go this deep and no deeper.
Let me demonstrate that from the side.
Look at where my weight is.
The timer on your screen will count you down.
As you can see, my shoulder isn't moving.
Here's what I don't want you to do.
I'll turn around so you can see my shoulder blades.
Not like that, like this.
Notice how I keep my chin tucked.
Mirror me, so when I go right you go left.
What I'm doing here is squeezing my glutes.
Watch me do two before you join in.
See this line from my head to my heels?
Put your hands where mine are.
Anna is showing the easier option on the left.
The exercise name is at the bottom of your screen.
You can see Sam behind me using a chair.
Turn your palms like so.
Let me come closer to the camera for this one.
Have a look at this from the front.
It goes from here to here.
Match my speed if you can.
I'm pointing at the muscle you should feel.
This part right here should be tight.
Move your arm in this direction.
Check out how slowly I lower it.
That's what a good rep looks like.
Pause the video and look at my setup.
Do what I'm doing with the band.
Can you see how the bell swings between my legs?
Set up just as I have it.
The picture on the right shows the finish.
My toes point slightly out, just a little.
I'm facing sideways so it's easier to see.
Try to get your thigh as low as mine.
Follow along with me at your own pace.
You'll see me switch hands at the bottom.
Keep your eyes on my front foot.
The bar at the top of the screen shows your progress.
Watch closely, because this one is tricky.
Bend it like I'm bending mine.
This is the position I want you in.
I want you to look at how the rope hangs.
See where my elbows are? That's too wide.
Don't do what I just did there.
Place one foot over here.
Your other hand goes there, like mine.
My model today is doing the low impact one.
Let me show that again slowly.
The camera can't quite get my feet, sorry about that.
You can tell from my face that it's hard.
Look how far I can reach before my back rounds.
I'll do the version on the floor so you can compare.
Lean forward about this much.
Roll your shoulders the way I am now.
Watch how the weight travels straight up.
See the gap under my lower back? Close it.
Let me zoom in on the foot.
I have my fingers spread wide on the mat, see?
Both of us will show you different options.
When you see me drop, you drop.
If you can't see the screen, turn it towards you.
Point your thumb this way.
The red circle marks where you should feel it.
It should look exactly like mine.
Watch for the change in my grip.
See you want the knee to track out like this.
I'm holding it at chest height, as shown.
My left hand stays on the floor here.
Take a peek at my heel, it never lifts.
Like this, nice and slow.
Do this with your ribs.
We go this way first.
Up here, then down here.
Observe the angle between my arm and my body.
The countdown you see in the corner is for this round.
Line up your feet with your hips the way mine are.
I'm going to face the other way so you see my back.
If your screen is small, come closer.
As I'm showing here, the wrist stays straight.
Look over at my partner for the kneeling one.
Compare my first rep with my second.
There, that one was perfect, did you see it?
My hips are level, look.
On screen now is the list of equipment.
""".splitlines()

PLAIN = """\
Keep your chest lifted as you lower.
Feet a little wider than your hips.
Look straight ahead and breathe.
Watch your lower back if it is sore today.
You will see a difference after a few weeks.
See if you can go a little lower this time.
Let's see how many you can get.
Look down at the floor to keep your neck long.
Eyes on the horizon.
Ten more seconds, hold on.
Press through the whole foot.
Elbows close to your ribs.
This is the last round.
Here we go again.
Right, shake it out.
This one is for your balance.
Keep a soft bend in the knee.
Do this for thirty seconds.
Squeeze at the top and come down slowly.
Breathe out as you push.
That is halfway.
Your left foot goes behind you.
Take the weight in your right hand.
Rest here for a moment.
Stay right there for five.
You should feel this in the back of your thighs.
If it pinches, make the movement smaller.
Set the dumbbells down beside you.
Turn your toes out slightly.
Imagine sitting back into a chair.
Like a door hinge, fold at the hips.
Move like you have all the time in the world.
Think of a string pulling the top of your head.
Follow your breath.
Follow the beat of your music.
Show me what you have left.
Show that hill who is in charge.
Picture a glass of water on your back.
Don't look down.
Watch that you don't hold your breath.
Pick a spot on the wall and look at it.
Get your mat and a towel.
You can do this.
I know this is hard.
I like this one.
My favourite exercise is next.
My advice is to start light.
We are nearly done here.
From here, step forward.
Lower until your thighs are level with the floor.
Reach up to the ceiling.
One hand on your hip, the other in the air.
Keep this pace to the end.
This way you save your knees.
Drop your shoulders away from your ears.
Both heels stay on the floor.
Over to the other side.
Point your toes.
Switch legs.
Same thing on the right.
Do exactly the same on the other side.
Draw your ribs down.
Let your head hang heavy.
Wrap your thumbs around the handle.
Your knees should be over your ankles.
Open your chest to the left.
Step out as far as feels good.
Rotate from your hips, not your waist.
Tuck your chin and roll down.
Slide your hand along your leg.
It gets easier.
Last five, make them count.
Stand tall between every rep.
Turn the weight over.
Keep the bar against your legs.
Take a big breath in.
Walk it off around the room.
Grab some water if you need it.
The next block has four exercises.
At the beep, change sides.
When the timer beeps, put the weight down.
Close your eyes if that is comfortable.
Notice how your breathing slows.
Notice where you feel the stretch.
See you on the other side of this minute.
Look forward to the rest.
Look after your wrists here.
Watch out for the edge of the mat.
Lift your arms to shoulder height.
Go as low as you can with a flat back.
Make fists and bring them to your chin.
Hug your knee to your chest.
Slow it down on the way back.
No need to rush this.
We finish with a long stretch.
How are your shoulders doing?
Hips high, hands under shoulders.
Stay low like a skater.
Reach this arm overhead, the one that is free.
Feel that? Good.
""".splitlines()

POINTING_SECOND = """\
Watch the way my hip opens here.
Can everyone see my feet?
This is how low I want you to get.
I'll show it once from the back.
Keep your arm where you see mine.
You'll spot the difference in my second try.
Look at this line along my leg.
Copy my stance before we start.
Hands like this, thumbs up.
My version uses the heavy bell, hers uses the light one.
Notice what happens to my ribs when I arch.
Set the chair up the way I've got it on screen.
Here you can see the wrong way.
And this is the right way, see?
Do as I do on the first three.
I'm going to turn sideways for you.
Tilt your pelvis like so.
Follow my hands.
It starts here and finishes up here.
The diagram shows which muscles work.
Watch Maria for the seated option.
My elbow stays glued right here.
If you look closely, my heel is off the floor.
Get your hips to this height.
The green bar tells you how long is left.
Watch my lips and breathe with me.
I want your back to look just like mine.
You see how my shoulder creeps up? Avoid that.
Let me get down on the floor so you have a better view.
About this far apart with your feet.
The name of the move is written below.
Take your leg out to here.
Look at the difference between these two.
Do this one the same way I did it.
As demonstrated, the back knee hovers.
Pull it towards you like that.
I'm showing you the short lever first.
See the way the band stretches?
Keep looking at my hands for the rhythm.
Turn to face the same way as me.
Hold the plate as I'm holding it.
From the side it looks like a triangle.
Your thumb goes on this side.
Watch it one more time.
What you see here is a full rep.
Stand next to the wall like I am.
The clip in the corner shows the easier one.
My knee tracks over this toe.
Bring it up to right about there.
Take a look and then try it.
""".splitlines()

PLAIN_SECOND = """\
Look forward and lift the chest.
See how it feels without weight.
Watch your footing on the mat.
You should see the time drop as you get fitter.
Like a plank, but on your elbows.
I like to breathe in on the way down.
Here comes the last one.
Put your hands on your hips.
There are ten seconds left.
Show your legs some love.
Bring your knees in towards your chest.
Follow the count in your head.
Do these slowly.
My name is Robin and I am your coach.
In this round we add a hop.
This is round three.
Let it go heavy on the way out.
Turn to the right and reach.
You have done this before.
Keep the shoulders square to the front wall.
Soften your gaze.
That should feel tight, not painful.
If your wrists hurt, use your fists.
I will count you in.
I am with you all the way.
It looks easy, it is not.
One arm up, one arm down.
Make a straight line from head to heels.
Set yourself up for a side plank.
Have a chair within reach.
This time try it without the wall.
Lower with control, then drive up.
Those last few are the ones that matter.
How low can you go today?
Eyes closed, both feet down.
Pick up the lighter weight.
Half a minute, steady pace.
Your back stays long here.
Move to the front of the mat.
Point your knee at the ceiling.
We do that four more times.
Take it to the other leg.
Think about where your ribs are.
Left side down, right side up.
Hold it there, don't drop.
Find a rhythm that you can keep.
Lift as high as is comfortable.
Try the same on your toes.
Bring it home, last ten.
Well done, see you next week.
""".splitlines()

POINTING_THIRD = """\
Watch how quickly I change direction.
I'm pressing the weight in this path.
Look at the height of my hips.
You can see the effort on her face.
Start with your feet the way I've placed them.
Let me turn so that you get the side view.
Now bring the leg round to this side.
The text under the video has the times.
See, my heel never lifts.
Take the arm back to about here.
I'll show both options, pick one.
Follow the arrow on the mat behind me.
Mirror what I do for this warm up.
This shape, hold it.
My partner is doing the one with the step.
Keep your head in line like I have.
Do you see how I push off the wall?
Bend your knee to this point.
That's the wrong way, and this is the right way.
It looks a bit like a frog.
Put your hand here, on the outside of the hip.
If the picture is too small, go full screen.
Look what happens when I let my core go.
You notice my arms stay still.
Use the same chair height as I use.
Try to copy the rhythm of my feet.
I'm standing side on so the hinge is clear.
See this muscle working?
Watch again from behind.
Exactly as you see me doing.
The numbers on the right are your reps.
You see the difference?
Twist this way, then that way.
I want the elbow there, not there.
Here is the beginner version, on my left.
Let's look at it in slow motion.
My shoulders are stacked, look at them.
Your finish should match this one.
Grip it with two fingers like I do.
We move from this corner of the mat to that one.
Show me you can do it like she does.
The person at the back is using a band.
I am going to film my feet for this bit.
Watch the bar path.
Stay this tall.
Hold the ball the way you see here.
Lower it to where my hand is.
This little movement here is all we need.
Have a look how relaxed my neck is.
You can watch me for the first one.
""".splitlines()

PLAIN_THIRD = """\
Watch the clock in your head and pace it.
Look up as you rise.
This movement is small but it burns.
I'll count the last five.
Feel how your ribs move.
Like a spring, soft and quick.
Step over to the wall.
The person next to you is not your rival.
Right foot first this time.
Hands behind your head.
Here are three slow ones.
That's the first side done.
My cue for this one is heavy hips.
Stand side by side with your partner if you have one.
Turn it around, other direction.
See the set through.
I see no reason to stop now.
You look strong.
Find your stance, a little wider than the hips.
Keep your shoulders over your wrists.
Shift your weight to the back foot.
Take this minute to stretch your calves.
Put a towel under your knees.
Do this one without weights.
We do this three times in all.
Show yourself that you can.
From the top, one more round.
Stay with me, four more.
The same again after the rest.
Keep it there until the beep.
Move smoothly, no jerks.
This is where it gets hard.
Let your arms hang.
Draw a circle with your knee.
Press your palms together.
The left side is often tighter.
Step back, then step forward.
Just breathe, nothing else.
Sit tall on the edge of the chair.
Take as long as you need.
Most of you will want a lighter weight.
That was the hardest part.
Push the floor away with your hands.
Drop to your knees if your back sags.
How does that feel?
Roll up slowly, head last.
It is fine to skip a rep.
Loosen your jaw.
You will be glad you did it.
In ten seconds we change over.
""".splitlines()


def lines_of(path: Path) -> list[str]:
    return [line for line in path.read_text(encoding="utf-8").splitlines() if line.strip()]


_FOLDER = Path(__file__).parents[1] / "sentences"
DEVELOPMENT_POINTING = lines_of(_FOLDER / "development_pointing.txt")
DEVELOPMENT_PLAIN = lines_of(_FOLDER / "development_plain.txt")
COACHED_POINTING = lines_of(_FOLDER / "coached_pointing.txt")
COACHED_PLAIN = lines_of(_FOLDER / "coached_plain.txt")
WRITTEN_POINTING = lines_of(_FOLDER / "written_pointing.txt")
WRITTEN_PLAIN = lines_of(_FOLDER / "written_plain.txt")
UNSEEN_POINTING = lines_of(_FOLDER / "unseen_pointing.txt")
UNSEEN_PLAIN = lines_of(_FOLDER / "unseen_plain.txt")
