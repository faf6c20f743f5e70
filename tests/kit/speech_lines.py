"""Coaching lines written for these tests: FIT for fitting the duration estimate, HELD_OUT for judging it."""

from __future__ import annotations

FIT = """\
Rest.
Halfway.
Switch.
Switch. Left side.
Ten seconds left.
Thirty seconds left.
One minute left.
Breathe in.
Breathe out.
Hold.
Round two. Goblet squat.
Last round. Reverse lunge, right side.
Next: hip hinge.
First: marching on the spot.
Last one. Plank.
Goblet squat. Weight held at your chest, feet just outside your hips.
Weight at your chest, elbows under it. Sit down between your heels.
Back to the squat.
Knees track over your toes.
Keep your heels heavy.
Put the weight down and use a chair.
Take three seconds on the way down.
At the pips, leave the dumbbell on the bench.
Left leg goes back first.
Right leg goes back first.
Push the floor away as you stand.
Long spine, soft knees, hands on your thighs.
Slide your hips back until you feel the back of your legs.
If your lower back complains, stop higher.
Shorten the range and keep it smooth.
Shoulders away from your ears.
Look at a spot on the floor a stride ahead of you.
Let the arms swing. They set the pace for your feet.
Stand tall and shake out your hands.
Drink if you need to.
Walk around slowly and let your breathing settle.
Hands under your shoulders, knees under your hips.
Reach the left arm forward and the right leg back.
Keep the hips level, as if a cup of tea stood on your back.
Come down onto your forearms.
One long line from your head to your heels.
Drop your knees if the line breaks.
Squeeze the glutes and breathe out slowly through your mouth.
Now the other side.
Make the circle bigger.
Make the circle smaller, and change direction.
Stay light on your feet.
No jumping today? Step it out instead.
Add a small hop if you feel fresh.
Stop if you feel pain, faint, or short of breath in a way that is not normal for you.
Before we begin, clear the space around you.
You will need one dumbbell and a chair.
Put the chair against a wall so that it cannot slide.
Feet hip width apart, toes pointing forward.
Bend both knees to a right angle.
The front heel stays down.
Lean forward a little, from the hips and not from the waist.
Pull the band apart until your arms are wide.
Thumbs point up to the ceiling.
Control it on the way back.
Slow is harder than fast.
That is the spirit.
Good. Two more breaths here.
Well done, that was the hardest part.
Nearly there, keep the rhythm.
We have three rounds of this.
Rest for twenty seconds.
After this comes the last exercise of the block.
In the next rest, fetch your mat.
Lie on your back with your feet flat on the floor.
Lift the hips, pause at the top, lower one bone at a time.
Press the whole foot into the ground.
Keep your ribs down.
Both hands behind your head, elbows wide.
Do not pull on your neck.
Breathe out as you come up.
If your wrists hurt, make fists or come down to your forearms.
Kettlebell between your feet, handle in line with your ankles.
Snap the hips and let the bell float.
The arms are only ropes.
Set the bell down quietly.
Side plank on the right elbow.
Stack your feet, or bend the bottom knee.
Top arm reaches for the ceiling.
Turn your chest toward the floor, then open up again.
Calf raises, near a wall for balance.
Up on two feet, down on one.
Keep the ankles straight.
Wide stance, toes slightly out.
Sit back as if onto a low bench.
Stand up strong.
Feel free to take a longer break.
Nobody is counting, quality first.
Listen to your knees today.
Swimmers, lie on your belly, arms overhead.
Lift opposite arm and leg, just off the floor.
Long neck, eyes down.
Rest your forehead on your hands.
Come up to standing in your own time.
Roll your shoulders back five times.
Sweep the arms up as you breathe in, and down as you breathe out.
Tip your head gently to the left.
Hold it there and let the right shoulder drop.
Come back to the middle.
Interlace your fingers and stretch your palms away from you.
Round your upper back.
Open your chest and look up a little.
Cross your right ankle over your left knee.
Sit tall on the edge of the chair.
Fold forward only as far as your back stays long.
Easy pace for the first round, then we build.
Think of your breath as the metronome.
In through the nose, out through the mouth.
Count four in, and six out.
Relax your jaw.
Soften your grip.
Find your balance before you lift the foot.
Hold on to the wall if you wobble.
Press up through the heel.
Chest proud, chin tucked.
Step forward, step back, same leg.
Change legs at the next pips.
Half the time is gone.
Everything you have for these last ten seconds.
And relax.
Shake it out.
Great work, take a full minute.
Three, two, one.
Feet under the bar, grip just outside your shins.
Brace before you lift.
Drive the elbows back along your ribs.
Pause for one count at the chest.
Lower slowly, it counts too.
Bear crawl, knees a hand's width off the floor.
Small steps, quiet feet.
Keep talking to yourself, one step at a time.
If it is too much, crawl on your knees.
Jog on the spot, gently.
Lift your knees higher.
Punch straight ahead, rotate from the hips.
Guard up, elbows in.
Eyes on the horizon.
Step to the side, tap, and back.
The floor is your friend, use it.
One more round after this one.
That was two thirds of the session.
Last minute of work, then we cool down.
This is the final exercise.
That is the session. Walk it off for a minute.
Thank you for training with me. See you next time.
Stretch what feels tight, and drink some water.
""".splitlines()

HELD_OUT = """\
Feet flat.
Three more.
Rest now.
Lunges.
Reverse lunges, left leg first.
Thighs parallel to the floor if you can.
Five seconds left.
Round four. Shoulder bridge, right side.
Next: farmer's walk with two bottles of water.
Fill two bottles and keep them by the mat.
Stand on the band, hands at shoulder height.
Press overhead without arching your back.
If your shoulders pinch, press with one arm at a time.
Sit against the wall, thighs level, back flat.
Breathe. Do not hold your breath here.
Come up an inch if your knees ache.
Wall sit again. A little lower than before, if it felt easy.
Step up with the left, bring the right to meet it.
Whole foot on the step.
Use the rail if there is one.
Slow down, the step will not run away.
Single leg stand, right foot down.
Close your eyes only if you feel steady.
Small movements in the ankle are fine.
Rowing motion, pull to the belly button.
Pinch the shoulder blades together for a moment.
No shrugging.
Halfway through this block, and looking strong.
Take the longer break, you have earned it.
Cat and cow, on all fours.
Arch up like a cat, then let the belly sink.
Move one vertebra after the other.
Child's pose, arms long in front of you.
Breathe into your back.
Half kneeling, right knee on a cushion.
Tuck your tail under and feel the front of the hip.
Raise the right arm and lean to the left.
Stay there for four slow breaths.
Box step, front left, front right, back left, back right.
Add the arms when your feet know what to do.
Now faster, same pattern.
And back to the easy pace.
Keep one hand free for the wall.
Last set, then the dumbbells can go away.
In this round every exercise gets ten seconds longer.
If you want more, hold the weight in front of you.
If you want less, leave the weight out and shorten the movement.
Let your weight sink into the mat, and close your eyes.
We finish with one minute of quiet breathing.
Thanks for coming, and mind the step on your way out.
""".splitlines()
