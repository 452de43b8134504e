package infer
import ("testing";"fmt";"time")
func TestZW(t *testing.T){
 for _,x:=range []struct{n string;k int}{{"medium",20},{"medium",40},{"medium_modular",80},{"large",40},{"large_modular",80}} {
  net,ans:=readRefNets(t,x.n)
  m,vars:=net.model(t)
  m.budget=1<<30
  for i,a:=range ans { if a.K!=x.k {continue}
   ev:=net.evidence(i,vars)
   at:=time.Now()
   c:=m.Estimate(ctx,ev,above(m,ev)...)
   d1:=time.Since(at)
   w:=m.work(); w.reduce(ev,above(m,ev),m.limits,ranked); 
   err:=w.prepare(ctx); room:=0; if err==nil {room=w.program.room}
   first:=w.plan.first
   var r float64; var d2 time.Duration; extra:=""
   if c.Log2<27 { at=time.Now(); p,err:=m.Infer(ctx,ev,above(m,ev)...); d2=time.Since(at); if err==nil {r=p.Rounding
     worst:=0.0; if a.Source!="" { for n,q:=range a.Present { d:=p.P(vars[n])[1]-q; if d<0{d=-d}; if d>worst{worst=d} } }; extra=fmt.Sprintf("worst %.1e lp %.1e",worst,p.LogP-a.LogP)} else {extra=err.Error()} }
   fmt.Printf("%s %d case %d: %v first %.2g room %.3g order %v infer %v rounding %.1e src %s %s\n",x.n,x.k,i,c,first,float64(room),d1,d2,r,a.Source,extra)
  }
 }
}
