package network

import "tidemark/engine/infer"

type tmpE struct {
	States []int
	LogP   float64
}

func mostProbable(p *Plain, over []infer.Var, k, budget int) ([]tmpE, bool, error) {
	post, err := p.m.m.Infer(p.m.evidence(nil), over...)
	if err != nil {
		return nil, false, err
	}
	e := tmpE{}
	for _, v := range over {
		s := 0
		if post.P(v)[1] > 0.5 {
			s = 1
		}
		e.States = append(e.States, s)
	}
	return []tmpE{e}, false, nil
}
