package reading_test
import ("testing";"shadowread/internal/angle";"shadowread/internal/render")
func TestSweep(t *testing.T){ deg:=angle.FromDegrees; 
 for i:=0;i<48;i++{ dir:=float64(i*37%360); tilt:=float64(10+i*13%40); alt:=float64(15+i*11%55)
  s:=scene(deg(alt),deg(tilt),deg(dir))
  kind:=i%4
  switch kind{ case 0: s.Rods[0].Collars=[]render.Collar{{From:47.8,To:50,Diameter:9}}
  case 1: thinCloud(0.5)(s); case 2: bent(0.8,float64(i*50))(s); case 3: s.Rods[0].Point=12; s.Rods[0].Material=render.Dowel; s.Rods[0].Collars=[]render.Collar{{From:0,To:5,Diameter:12}}}
  o:=exactly(s); known:=i%8>=4; if known {o.Rod.HeightMM,o.Rod.DiameterMM=s.Rods[0].Height,s.Rods[0].Diameter}
  r,tr:=readScene(t,s,o); ri:=-1.0; if tr.RodImageAngle!=nil {ri=*tr.RodImageAngle}
  if r.OK(){ e:=(*r.Heading-deg(*tr.StripReader)).Signed(); sg:=withoutLevel(r); m:=""; if e.Abs()>4*sg||e.Abs()>angle.Degree {m="WRONG"}; w:=""; for _,x:=range r.Warnings{w+=x.Code+" "}
   t.Logf("%d kind %d known %v alt %.0f tilt %.0f img %.0f strip %.0f: %+.4f sigma %.4f fit %.4f %s %s",i,kind,known,alt,tilt,ri,tr.ClearStrip,e.Degrees(),sg.Degrees(),r.Budget.ShadowFit.Degrees(),m,w)
  } else { t.Logf("%d kind %d known %v alt %.0f tilt %.0f img %.0f strip %.0f readable %v: REFUSED %s",i,kind,known,alt,tilt,ri,tr.ClearStrip,tr.Readable,r.Reason)}
 }}
