package infer
import ("testing";"fmt";"time";"math/rand/v2")
func TestZK(t *testing.T){
 proven,all:=0,0
 var tot time.Duration
 for seed:=uint64(0);seed<12;seed++ { for _,f:=range []int{6,12,20} {
  r:=rand.New(rand.NewPCG(seed,9)); m,signs:=machine(t,r,40)
  ev:=observeSome(r,signs,f)
  var over []Var
  for _,v:=range above(m,ev) { if m.nodes[v].kind==tableKind {over=append(over,v)} }
  for _,steps:=range []bool{false,true} {
  if steps { over=above(m,ev) }
  at:=time.Now()
  found,p,err:=m.MostProbable(ctx,ev,over,10,300)
  d:=time.Since(at); tot+=d
  if err!=nil {t.Fatal(err)}
  all++; if p {proven++}
  if seed<3 {fmt.Printf("k seed %d findings %d steps %v over %d: found %d proven %v in %v first %.4f\n",seed,f,steps,len(over),len(found),p,d,found[0].LogP)}
 }}}
 fmt.Println("k proven",proven,"of",all,"time",tot)
}
