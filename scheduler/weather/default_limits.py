"""The limits that a new business starts with, in the form that it edits (see `scheduler.weather.limits`).

Planning figures, set below the published stop lines on purpose: OSHA's 30 mph for handling material is a ceiling and no
target, and the National Weather Service's heat index is for shade, while full sun can add up to 15 °F.
"""

from scheduler.weather.limits import LimitTable, read_limits

_OSHA = "common practice, below the 30 mph of the note to 29 CFR 1910.269(x)"
_THUNDER = "National Weather Service, 30-30 rule"

DEFAULT_LIMITS_CSV = f"""\
applies_to,measure,value,reason,source
install,wind_mph,20,A cassette held up between two people acts as a sail,"{_OSHA}"
install,gust_mph,25,A gust comes without warning while hands are full,"{_OSHA}"
install,rain_mm,0.5,"Wet rungs and wet power tools; cloth rolled up wet grows mildew",common practice
install,rain_chance,0.7,Rain is likelier than not by far,common practice
install,thunder_chance,0.4,Ladders and metal profiles in a thunderstorm,"common practice; {_THUNDER}"
install,thunder_wait_min,30,Wait after the last thunder,"{_THUNDER}"
install,heat_index_f,100,"Heavy work in full sun, which adds up to 15 °F","common practice, below NWS danger (103)"
install,temp_least_c,-7,Hands and batteries fail below 20 °F,common practice
install,daylight_margin_min,0,Light enough from civil dawn to civil dusk,civil twilight (sun 6° below the horizon)
survey,wind_mph,25,A tape and a short ladder in the wind,"{_OSHA}"
survey,gust_mph,30,A short ladder in gusts,OSHA note to 29 CFR 1910.269(x)
survey,rain_mm,2,Measuring in light rain is possible but readings smear,common practice
survey,rain_chance,0.9,Rain is nearly certain,common practice
survey,thunder_chance,0.4,Outdoors on a ladder in a thunderstorm,"common practice; {_THUNDER}"
survey,thunder_wait_min,30,Wait after the last thunder,"{_THUNDER}"
survey,heat_index_f,103,The NWS danger band begins,NWS heat index chart
survey,daylight_margin_min,0,Light enough from civil dawn to civil dusk,civil twilight (sun 6° below the horizon)
repair,wind_mph,22,An opened awning catches the wind,"{_OSHA}"
repair,gust_mph,28,A gust on a half-open cloth,"{_OSHA}"
repair,rain_mm,1,Wet rungs and wet power tools,common practice
repair,rain_chance,0.8,Rain is likelier than not by far,common practice
repair,thunder_chance,0.4,Ladders and metal profiles in a thunderstorm,"common practice; {_THUNDER}"
repair,thunder_wait_min,30,Wait after the last thunder,"{_THUNDER}"
repair,heat_index_f,103,The NWS danger band begins,NWS heat index chart
repair,temp_least_c,-7,Hands and batteries fail below 20 °F,common practice
repair,daylight_margin_min,0,Light enough from civil dawn to civil dusk,civil twilight (sun 6° below the horizon)
tall ladder,wind_mph,15,The higher the ladder the longer the lever,"{_OSHA}"
tall ladder,gust_mph,20,A gust at height takes the balance,"{_OSHA}"
tall ladder,rain_mm,0.2,Wet rungs at height,common practice
tall ladder,heat_index_f,95,Dizziness at height,"common practice, in the NWS band extreme caution"
large awning,wind_mph,15,Twice the cloth is twice the sail,"{_OSHA}"
large awning,gust_mph,20,Twice the cloth is twice the sail,"{_OSHA}"
sealant,temp_least_c,5,"Sealant does not cure or stick in the cold; the product's own sheet comes first",common practice
sealant,rain_mm,0.2,Sealant needs a dry joint,common practice
"""

DEFAULT_LIMITS: LimitTable = read_limits(DEFAULT_LIMITS_CSV)
