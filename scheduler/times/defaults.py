"""The task times that a new business starts with, in the form that it edits (see `scheduler.times.durations`).

Every value is an assumption, none is measured: replace them by what `eaveboard calibrate` fits to finished jobs.
"""

DEFAULT_TIMES_CSV = """\
kind,task,per,value,shared,source
install,open and set out,visit,30,0.5,assumption
install,open and set out,metre of width,2,0.5,assumption
install,drill,hole in wood-studs,3,0.3,assumption
install,drill,hole in rim-board,3,0.3,assumption
install,drill,hole in rafters,4,0.3,assumption
install,drill,hole in stucco-on-studs,4,0.3,assumption
install,drill,hole in concrete,6,0.3,assumption
install,drill,hole in solid-masonry,6,0.3,assumption
install,drill,hole in hollow-block,5,0.3,assumption
install,brackets,bracket,6,0.3,assumption
install,hood,hood,20,0.2,assumption
install,hood,metre of hood,3,0.2,assumption
install,lift,visit,20,0,assumption
install,lift,material lift,20,0,assumption
install,lift,metre above 2.5 m,10,0,assumption
install,wire and test,visit,15,0,assumption
install,wire and test,motor,30,0,assumption
install,clean up,visit,20,0.5,assumption
install,uncertainty,p80 factor,1.25,0,assumption
survey,measure and talk,visit,45,0,assumption
survey,measure and talk,metre of width,2,0,assumption
survey,find structure,visit,10,0,assumption
survey,find structure,metre above 2.5 m,5,0,assumption
survey,uncertainty,p80 factor,1.2,0,assumption
repair,find the fault,visit,25,0,assumption
repair,mend and test,visit,35,0.3,assumption
repair,mend and test,motor,15,0,assumption
repair,mend and test,metre above 2.5 m,10,0,assumption
repair,clean up,visit,10,0.5,assumption
repair,uncertainty,p80 factor,1.5,0,assumption
"""
