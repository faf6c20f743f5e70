"""Sentences written for the checks of a plan's words: own inventions, of both kinds."""

# Only someone who sees a picture can use these.
PICTURE = """\
Watch how my hips move back first.
Watch me for one rep, then join in.
Just watch, and then try it.
Watch the demo before you start.
Bend your elbow like this.
Your foot points out, like so.
Mirror me, so we move the same way.
Copy me as I go down.
Follow along with me on screen.
Keep your eyes on the screen.
The timer is on the screen.
Check the clock at the top of your screen.
As you can see, my back stays flat.
You can see my knee over my toes.
See how my heel stays down.
I'll show you the easier way first.
Let me demonstrate.
Anna is showing the harder version.
She'll demonstrate it with a chair.
Look at me and copy the arms.
The link is in the description.
You will find the details below this video.
Leave a comment down below.
See below for the full list.
Turn this way now.
Put your hand right here.
You should feel it here.
Pause the video if you need longer.
Do as I do.
Move exactly as I move.
Subscribe for more sessions.
Face the camera.
Hold the weights as shown.
The left arm goes where the arrow points on the screen.
If you liked this video, share it.
Take a look at how the coach sets the feet.
Watch closely where the elbow goes.
I am showing the low option on the left.
Do what I'm doing with the other arm.
The exercise list is in the description below.
Tilt your head like this, and hold.
Check the comments for the playlist link.
Keep up with the timer on screen.
You can see that my shoulders stay down.
I will show you two versions.
Bring the foot over here.
Look up at the screen for the next move.
Imitate me until it feels easy.
The video shows a band, but a towel works.
Rewind it if you missed the start.
See my hips? They stay level.
Same as me, palms up.
Lift it like so, then lower.
The countdown is in the corner of the screen.
Hit the like button.
Now watch my feet for the pattern.
Keep watching, and join in when you are ready.
My knee stays behind my toes, as you can see.
See the way my ribs stay closed?
The position you see on screen is the easy one.
If you look at my hands, they stay level.
Grip it like this, thumbs on top.
Let me show you once, slowly.
Maria will demonstrate with the heavy bell.
There is a link to the mat in the description.
Full list of exercises below the video.
Rotate this way, then back.
Place one hand here and one hand on the floor.
Stand facing the camera.
Copy what I do with the band.
Follow me down to the floor.
The bar on the screen shows the time left.
Skip ahead in the video if you are warm.
Don't forget to subscribe.
In this picture the back is straight.
Keep up with me on the screen.
Over here is where you feel it.
Watch my elbow: it never leaves the ribs.
Watch what happens when the hip drops.
Get into this position on the screen.
Bend down like this and take the bell.
Look here at the angle of the ankle.
As you'll see in a moment, the last one is harder.
I am demonstrating with a towel.
Let me show you where the hands go.
The name of the exercise is on your screen.
You can see the timer in the corner.
Do it exactly as I do it.
Mirror my arms, please.
Put your thumb here, below the collarbone.
Come over here for the stretch.
The links to the bands are below.
See the description for the full plan.
Slide it up here, next to the ear.
This video is part of a series.
Copy my stance.
Step this way on the beat.
""".splitlines()

# These work with closed eyes, though they hold words that often point at a picture.
NO_PICTURE = """\
Watch your knees.
Watch that your back stays long.
Watch out for the edge of the mat.
Watch your step as you turn.
Keep an eye on your breathing.
Hands just below your knees.
Keep your elbows below your shoulders.
The bar stops just below the kneecap.
Bring your hips below parallel if you can.
Lower until your chest is below your elbows.
If you like, take the heavier one.
If you like this pace, keep it.
It should feel like this is your last set.
Your legs may feel like jelly.
Move like a cat.
Sit back like there is a chair.
See if you can go a little deeper.
See how far you can reach.
If you can see your toes, your knees are fine.
Look straight ahead.
Look at one point on the floor.
Look over your shoulder.
Look down at your hands for a moment.
Rest your eyes, away from the screen.
After hours at the screen, this is what your neck needs.
Face the wall.
Face the way you came.
Hold here for three breaths.
Stay here.
Pause here, and breathe.
Stand in front of a mirror if you have one.
Follow my voice.
Follow your breath.
Follow the tones.
This side is often the stronger one.
This one is about balance.
This way you keep your shoulders safe.
Over the last sets, keep this shape.
Show yourself what you can do.
Turn your palms up and look at the ceiling.
Point your toes down.
Above all, keep breathing.
As above, so below: same shape both ways.
Feel the stretch along your side.
Put the weight down beside you.
Press the floor away.
Great work, just like that.
The pips tell you when to change.
You will hear three short pips.
Set a timer if you do this without the track.
Watch the angle of your wrist.
Let your head hang below your heart.
Keep the handle below chin height.
Do it like you mean it.
Would you like a break? Take it.
You may like the wider stance.
See that your weight is even.
Look for a spot on the wall.
Close your eyes and follow the count.
Mirror what you did on the other side.
Stand tall, eyes on the horizon.
Keep your phone where you can hear it.
Turn away from your desk.
We hold here until the pip.
Here comes the last round.
Your knee points the same way as your toes.
Show your palms to the ceiling.
Below the knee everything stays still.
This is the one you have been waiting for.
A little lower, that's it.
Press here and there along the muscle.
Screens off, shoulders down.
Check your stance, then begin.
Read your body, not the clock.
Point your thumbs behind you.
Watch for a pinch at the front of the hip.
Watch the floor a step ahead of you.
You will see progress in a month.
See whether you can slow it down.
Let your gaze follow your hand.
Knees below hips, spine long.
From the waist down, nothing moves.
Move the way that feels good.
This way of breathing calms you.
Stay low here, and breathe.
From here, two more.
Show up for the last minute.
Look where you are going.
Camera shy or not, nobody is looking: go for it.
A mirror helps, but feel is better.
If your wrists complain, make fists.
Follow the wall with your fingertips.
Copy this rhythm on the other leg.
Picture a string pulling you up.
Imagine a screen door that you push open.
Comment to yourself how it felt, one word.
The next one starts below, on your knees.
Like last round, only slower.
Your time to shine.
Hold it there.
Watch how it feels on the second round.
Watch the bell, not the floor.
Looking good, keep going.
You can see this through.
I see you working.
Drop below the line of your hips.
Your back should look like a table.
Sit as if on a low stool.
The mat ends below your heels.
Breathe out like you fog a window.
Here, slow down.
Bring your chin here and there, gently.
Now the other way.
That way lies cramp, so ease off.
Show me your best last ten seconds.
Look after your lower back.
Read the plan once before you start.
Your shadow on the wall can be your mirror.
Eyes closed, if that is safe where you are.
Put the towel under your knees.
Touch the floor, then reach up.
Step back the way you came.
Like before, both hands.
The red band is the strong one.
Check that the chair does not slide.
""".splitlines()

# A side is named outright.
SIDE_BY_HAND = """\
Left foot forward.
Right leg goes back first.
Step back with your right foot.
Lift the left knee.
Weight on your left leg.
Reach up with the right arm.
Turn to the left.
Lean over to your right, and breathe.
Right hand on the floor.
Start on the left.
Your left elbow under your left shoulder.
Keep the right hip high.
Left side first.
Right goes first.
Squeeze the right glute.
Left heel down.
Stay on the right.
Now the left, slowly.
Left arm up, right leg back.
The left side is yours to work now.
Plant your right foot and hinge.
Left fingertips to the floor.
Drive through the left heel.
Look over your right shoulder.
Bend the left leg more.
The right knee stays soft.
Side plank on the left forearm.
Sweep the right arm overhead.
Hop to the right.
Hold on the left for now.
Tuck your left toes under.
Left palm flat.
""".splitlines()

# "Left" and "right" mean something else, or both sides are meant.
NO_SIDE = """\
Ten seconds left.
Only two left.
All right, change.
You have got this right.
Not long left now.
Go right up to the pips.
Right now, breathe.
Start right away.
Bend to a right angle at the knee.
That's right.
Find the right height for your bench.
Use the right amount of weight.
Nothing left to prove.
Leave the bell where you left it.
What is left of your breath, let it out.
Stand upright.
Switch between left and right as you like.
Left and right leg are never the same.
Swap left for right whenever the pips sound.
It should feel right.
Right, on we go.
One round left.
Is one side tighter, left or right?
Half the time is left.
Right before the pip, put it down.
Stay right where you are.
You left the chair; now stay out of it.
Keep it right under your shoulder.
Thirty seconds left on the clock.
You are right on time.
Make it a right-angled bend.
Is your head right over your spine?
Three rounds left, then water.
Set your feet right.
What's left in the tank?
Keep right on breathing.
Both arms, left and right, reach long.
Get it right first, then faster.
The last bit left is the hardest.
Alright, settle in.
Left over from the last round: your grip.
Right at the pip, change legs.
""".splitlines()
